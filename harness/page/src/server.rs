//! Serves the page: a thread with a runtime of its own, so that no client, however slow or hostile, holds the job up.
//!
//! Only embedded files, one socket and one way in for photos. Not here: what is said over the socket (`connection`).
use crate::{
    codes::Codes,
    connection,
    gate::{Gate, Gated, Peer},
    hub::Hub,
    people::{PHOTOS, People},
    tls::Tls,
};
use axum::{
    Router,
    body::Bytes,
    extract::{ConnectInfo, DefaultBodyLimit, Request, State, ws::WebSocketUpgrade},
    http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header},
    middleware::{Next, from_fn_with_state},
    response::{IntoResponse, Response},
    routing::{get, post},
};
use plumeline_base::input::{Photo, Role};
use plumeline_link::RealClock;
use plumeline_runtime::operator::{FromPages, Told};
use std::{
    net::SocketAddr,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    thread::JoinHandle,
    time::Instant,
};
use tokio::{
    net::TcpListener,
    sync::{
        Semaphore,
        mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel},
        oneshot,
    },
};

/// Largest photo from a page, bytes.
pub const PHOTO_LIMIT: usize = 16 * 1024 * 1024;
/// Photos that are taken in at one time.
const PHOTOS_AT_ONCE: usize = 2;

/// What was told last is still sent.
const GRACE: std::time::Duration = std::time::Duration::from_millis(500);

/// Keeps a photo's bytes in the job.
pub type KeepPhoto = Box<dyn Fn(&[u8]) -> Result<Photo, String> + Send + Sync>;

/// What is served.
pub struct Config {
    /// Where, and nowhere else.
    pub address: SocketAddr,
    /// Who may come in as what.
    pub codes: Codes,
    /// The log's clock.
    pub clock: RealClock,
    /// What is shown.
    pub hub: Arc<Hub>,
    /// The pipes and holes, as JSON.
    pub site: String,
    /// Keeps photos; `None`: a recording is shown, and nothing is taken.
    pub photos: Option<KeepPhoto>,
    /// What protects connections; `None`: plain HTTP.
    pub tls: Option<Tls>,
}

/// A page that is served until this goes.
pub struct Serving {
    /// Where.
    pub address: SocketAddr,
    /// The links, by role.
    pub links: Vec<(Role, String)>,
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}
impl Drop for Serving {
    fn drop(&mut self) {
        if let Some(stop) = self.stop.take() {
            let _ = stop.send(());
        }
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// What the handlers share.
pub(crate) struct Served {
    pub(crate) codes: Codes,
    pub(crate) clock: RealClock,
    pub(crate) hub: Arc<Hub>,
    pub(crate) site: String,
    pub(crate) gate: Arc<Gate>,
    people: Mutex<People>,
    pub(crate) to_job: UnboundedSender<FromPages>,
    pub(crate) told: UnboundedSender<Told>,
    pub(crate) recorded: bool,
    photos: Option<KeepPhoto>,
    photos_at_once: Semaphore,
    /// As browsers name it.
    hosts: Vec<String>,
    /// `http` or `https`.
    scheme: &'static str,
}
impl Served {
    pub(crate) fn people(&self) -> MutexGuard<'_, People> {
        self.people.lock().unwrap_or_else(PoisonError::into_inner)
    }
    /// Tells everybody who is there.
    pub(crate) fn tell_people(&self) {
        let list = self.people().list();
        self.hub.people(self.clock.now(), list);
    }
    pub(crate) fn say(&self, words: String) {
        let _ = self.to_job.send(FromPages::Say(words));
    }
}

/// Begins to serve. What people send comes out of the channel.
///
/// # Errors
/// The address can't be had, or no thread can be started: cause and remedy.
pub fn serve(config: Config) -> Result<(Serving, UnboundedReceiver<FromPages>), (String, String)> {
    let Config { mut address, codes, clock, hub, site, photos, tls } = config;
    let no = |address: SocketAddr, e: &std::io::Error| {
        let remedy = "name an address of this computer, with a port that is free: --page=ADDRESS:PORT";
        (format!("the page can't be served at {address}: {e}"), remedy.to_owned())
    };
    let listener = std::net::TcpListener::bind(address).or_else(|e| {
        if e.kind() != std::io::ErrorKind::AddrInUse || address.port() != crate::address::PORT {
            return Err(no(address, &e));
        }
        address.set_port(0);
        std::net::TcpListener::bind(address).map_err(|e| no(address, &e))
    })?;
    let address = listener.local_addr().map_err(|e| no(address, &e))?;
    listener.set_nonblocking(true).map_err(|e| no(address, &e))?;
    let scheme = if tls.is_some() { "https" } else { "http" };
    let links = codes.links(scheme, &address.to_string());
    let (to_job, from_pages) = unbounded_channel();
    let (told, mut became) = unbounded_channel::<Told>();
    let (stop, stopped) = oneshot::channel();
    let mut hosts = vec![address.to_string()];
    if address.ip().is_loopback() {
        hosts.push(format!("localhost:{}", address.port()));
    }
    let (gate, recorded) = (Arc::new(Gate::default()), photos.is_none());
    let served = Arc::new(Served {
        codes,
        people: Mutex::new(People::new(clock.speed())),
        clock,
        hub,
        site,
        gate: gate.clone(),
        to_job,
        told,
        recorded,
        photos,
        photos_at_once: Semaphore::new(PHOTOS_AT_ONCE),
        hosts,
        scheme,
    });
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(|e| no(address, &e))?;
    let work = async move {
        let Ok(listener) = TcpListener::from_std(listener) else { return };
        let app = app(served.clone()).into_make_service_with_connect_info::<Peer>();
        let tells = async {
            while let Some(told) = became.recv().await {
                connection::tell(&served, &told);
            }
        };
        tokio::select! {
            // Whatever is still connected ends with the runtime.
            end = axum::serve(Gated { listener, gate, tls: tls.map(|tls| tls.acceptor) }, app) => tracing::debug!(?end, "the page ends"),
            () = tells => {}
            // Who is there still sees how it ended.
            _ = stopped => tokio::time::sleep(GRACE).await,
        }
    };
    let thread = std::thread::Builder::new().name("page".into()).spawn(move || {
        runtime.block_on(work);
        runtime.shutdown_background();
    });
    let thread = thread.map_err(|e| no(address, &e))?;
    Ok((Serving { address, links, stop: Some(stop), thread: Some(thread) }, from_pages))
}

macro_rules! asset {
    ($kind:literal, $file:literal) => {
        get(async || {
            ([(header::CONTENT_TYPE, HeaderValue::from_static($kind))], include_str!(concat!("assets/", $file)))
        })
    };
}

fn app(served: Arc<Served>) -> Router {
    Router::new()
        .route("/", asset!("text/html; charset=utf-8", "index.html"))
        .route("/page.css", asset!("text/css; charset=utf-8", "page.css"))
        .route("/page.js", asset!("text/javascript; charset=utf-8", "page.js"))
        .route("/draw.js", asset!("text/javascript; charset=utf-8", "draw.js"))
        .route("/socket", get(socket))
        .route("/photo", post(photo))
        .layer(DefaultBodyLimit::max(PHOTO_LIMIT))
        .layer(from_fn_with_state(served.clone(), guarded))
        .with_state(served)
}

/// Only requests that name this address as their host, and the page itself as their origin where they do or send something; and
/// answers that tell the browser to trust nothing else.
async fn guarded(State(served): State<Arc<Served>>, request: Request, next: Next) -> Response {
    let mut answer = match not_allowed(&served, &request) {
        Some(refused) => refused,
        None => next.run(request).await,
    };
    let ws = if served.scheme == "https" { "wss" } else { "ws" };
    let socket: String = served.hosts.iter().map(|h| format!(" {ws}://{h}")).collect();
    let csp = format!(
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'{socket}; base-uri 'none'; \
         form-action 'none'; frame-ancestors 'none'"
    );
    let headers = answer.headers_mut();
    if let Ok(csp) = HeaderValue::from_str(&csp) {
        headers.insert(header::CONTENT_SECURITY_POLICY, csp);
    }
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (HeaderName::from_static("permissions-policy"), "geolocation=(), microphone=(), payment=(), usb=()"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    answer
}

fn not_allowed(served: &Served, request: &Request) -> Option<Response> {
    let text = |name: HeaderName| request.headers().get(name).and_then(|v| v.to_str().ok()).map(str::to_owned);
    let host = text(header::HOST).filter(|host| served.hosts.contains(host));
    let sends = request.uri().path() == "/socket" || request.method() != axum::http::Method::GET;
    match (host, text(header::ORIGIN)) {
        // A name that leads here without being this address: another site that has rebound its name.
        (None, _) => Some(refused(StatusCode::MISDIRECTED_REQUEST, "this is not the address of the page")),
        (Some(host), Some(origin)) if origin != format!("{}://{host}", served.scheme) => {
            Some(refused(StatusCode::FORBIDDEN, "another site may not use this page"))
        }
        (Some(_), None) if sends => Some(refused(StatusCode::FORBIDDEN, "only the page itself may use this")),
        _ => None,
    }
}

fn refused(status: StatusCode, why: &'static str) -> Response {
    (status, why).into_response()
}

async fn socket(
    State(served): State<Arc<Served>>,
    ConnectInfo(peer): ConnectInfo<Peer>,
    upgrade: WebSocketUpgrade,
) -> Response {
    upgrade
        .max_message_size(crate::message::LONGEST)
        .max_frame_size(crate::message::LONGEST)
        // More than this waits for a client that doesn't read: then its connection ends.
        .max_write_buffer_size(4 * 1024 * 1024)
        .on_upgrade(move |socket| connection::run(served, peer, socket))
}

/// Takes a photo in. Who sends it is told by the headers of the page's own making.
async fn photo(
    State(served): State<Arc<Served>>,
    ConnectInfo(peer): ConnectInfo<Peer>,
    headers: HeaderMap,
    request: Request,
) -> Response {
    let text = |name: &str| headers.get(name).and_then(|v| v.to_str().ok()).unwrap_or_default();
    let now = Instant::now();
    if served.gate.is_shut(peer.ip, now) {
        return refused(StatusCode::TOO_MANY_REQUESTS, "too many wrong codes");
    }
    let Some(role) = served.codes.role(text("x-code")) else {
        served.gate.wrong(peer.ip, now);
        return refused(StatusCode::FORBIDDEN, "the code is not of this job");
    };
    let client = text("x-client").to_owned();
    let may = served.people().by_client(&client, role).is_some_and(|p| role != Role::Watch && p.photos.len() < PHOTOS);
    let (true, Some(keep)) = (may, &served.photos) else {
        return refused(StatusCode::FORBIDDEN, "this page may send no photo, or has sent too many");
    };
    peer.is_known();
    let Ok(_at_once) = served.photos_at_once.acquire().await else {
        return refused(StatusCode::SERVICE_UNAVAILABLE, "the page ends");
    };
    let taken = tokio::time::timeout(std::time::Duration::from_secs(120), body(request)).await;
    let bytes = match taken {
        Ok(Ok(bytes)) => bytes,
        Ok(Err(answer)) => return answer,
        Err(_) => return refused(StatusCode::REQUEST_TIMEOUT, "the photo took too long"),
    };
    match keep(&bytes) {
        Ok(photo) => {
            let name = photo.sha256.clone();
            if let Some(page) = served.people().by_client(&client, role) {
                page.photos.insert(name.clone(), photo);
            }
            (StatusCode::OK, name).into_response()
        }
        Err(why) => (StatusCode::UNPROCESSABLE_ENTITY, why).into_response(),
    }
}

async fn body(request: Request) -> Result<Bytes, Response> {
    axum::body::to_bytes(request.into_body(), PHOTO_LIMIT)
        .await
        .map_err(|_| refused(StatusCode::PAYLOAD_TOO_LARGE, "a photo is 16 MiB at most"))
}
