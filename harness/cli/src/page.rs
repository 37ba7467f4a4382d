//! The page beside a job: where it is served, the links and the square to be photographed, and what is kept of it.
//!
//! Not here: what is served (the page crate).
use crate::args;
use plumeline_base::input::{Photo, Role};
use plumeline_job::folder::Folder;
use plumeline_link::RealClock;
use plumeline_page::{Config, Hub, Serving, Shown, Tls, address, codes, serve, site::Site};
use plumeline_procedure::JobInputs;
use plumeline_runtime::{failure::Failure, operator::FromPages, show};
use tokio::sync::mpsc::UnboundedReceiver;

/// A page that is served.
pub struct Page {
    /// Ends with this.
    _serving: Serving,
    hub: std::sync::Arc<Hub>,
    from: Option<UnboundedReceiver<FromPages>>,
}
impl Page {
    /// Who shows the job to the pages.
    pub fn shown(&self) -> Shown {
        Shown::new(self.hub.clone())
    }
    /// What people at the pages send.
    pub fn from(&mut self) -> Option<UnboundedReceiver<FromPages>> {
        self.from.take()
    }
}

/// What goes together, before anything else is begun.
///
/// # Errors
/// TLS without a page, or a key without a certificate.
pub fn checked(wanted: &args::Page) -> Result<(), Failure> {
    match (&wanted.page, &wanted.page_tls, &wanted.page_key) {
        (None, Some(_), _) => Err(Failure::input("--page-tls protects a page, and none is served", "add --page")),
        (_, Some(None), Some(_)) => {
            let cause = "--page-key names a key, but no certificate is named";
            Err(Failure::input(cause, "name both: --page-tls=CERT --page-key KEY"))
        }
        _ => Ok(()),
    }
}

/// Serves a page, where one is wanted. `photos`: the folder that takes them; `None`: a recording is shown.
///
/// # Errors
/// It can't be served there.
pub fn page(
    wanted: &args::Page,
    photos: Option<&Folder>,
    inputs: &JobInputs,
    clock: RealClock,
) -> Result<Option<Page>, Failure> {
    let told = |(cause, remedy): (String, String)| Failure::input(cause, remedy);
    checked(wanted)?;
    let Some(address) = &wanted.page else { return Ok(None) };
    let address = address::parse(address.as_deref()).map_err(told)?;
    let tls = match &wanted.page_tls {
        None => None,
        Some(None) => Some(Tls::made(address.ip()).map_err(told)?),
        Some(Some(cert)) => Some(Tls::from_files(cert, wanted.page_key.as_ref().unwrap_or(cert)).map_err(told)?),
    };
    let shown = tls.as_ref().map(|tls| (tls.fingerprint.clone(), tls.made));
    let codes = codes::Codes::draw().map_err(Failure::internal)?;
    let hub = Hub::new();
    let site = serde_json::to_string(&Site::of(inputs)).map_err(|e| Failure::internal(e.to_string()))?;
    let dir = photos.map(|folder| folder.dir().to_owned());
    let photos = dir.map(|dir| -> plumeline_page::KeepPhoto {
        Box::new(move |bytes| {
            let kept = Folder::open(&dir).and_then(|folder| plumeline_job::photos::keep_bytes(&folder, "page", bytes));
            let photo = kept.map_err(|e| e.to_string())?;
            Ok(Photo { name: photo.name, length: photo.length, sha256: photo.digest.to_string() })
        })
    });
    let recorded = photos.is_none();
    let (serving, from) = serve(Config { address, codes, clock, hub: hub.clone(), site, photos, tls }).map_err(told)?;
    announce(&serving, recorded, shown);
    Ok(Some(Page { _serving: serving, hub, from: Some(from) }))
}

fn announce(serving: &Serving, recorded: bool, tls: Option<(String, bool)>) {
    for (role, link) in serving.links.iter().filter(|(role, _)| !recorded || *role == Role::Watch) {
        if (*role == Role::FarEnd || recorded)
            && let Some(square) = codes::square(link)
        {
            show::print_progress(&square);
        }
        show::print_progress(&format!("page for {}: {link}", role.words()));
    }
    let Some((fingerprint, made)) = tls else {
        show::print_progress(
            "whoever has a link can do what its role may, until the job ends; others in this network could read along",
        );
        return;
    };
    show::print_progress("whoever has a link can do what its role may, until the job ends");
    show::print_progress(&format!("the page's certificate, SHA-256: {fingerprint}"));
    if made {
        show::print_progress(
            "no browser knows this certificate and each warns of it once: go on only where the certificate that it shows has this fingerprint",
        );
    }
}
