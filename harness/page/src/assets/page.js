// The page itself. What comes from elsewhere is only ever set as text. An answer is kept on this device until the job has taken it.
"use strict";

const $ = (id) => document.getElementById(id);
const store = (() => {
  // Where a browser keeps nothing, the page still works until it is reloaded.
  const memory = {};
  const of = (s) => ({
    get: (k) => { try { return s.getItem(k); } catch { return memory[k] ?? null; } },
    set: (k, v) => { memory[k] = v; try { s.setItem(k, v); } catch { /* kept in memory */ } },
  });
  let tab; try { tab = sessionStorage; } catch { tab = null; }
  return of(tab || { getItem: () => null, setItem: () => {} });
})();
function random() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
}
const clock_us = () => Math.round(performance.now() * 1000);

if (location.hash.length > 1) {
  store.set("code", location.hash.slice(1));
  // So that it shows on no picture of the screen and in no history.
  history.replaceState(null, "", location.pathname);
}
const me = { code: store.get("code"), name: store.get("name"), client: store.get("client") || random(), boot: random() };
store.set("client", me.client);

const state = { role: null, site: null, air: [], now_ms: 0 };
const s = {};
let socket = null, tries = 0, wanted = true, lastHeard = 0;
let waiting = JSON.parse(store.get("waiting") || "[]");
let open = null, photo = null, quiet = store.get("quiet") === "yes";

// ---- the socket ----

function connect() {
  if (!me.code || !me.name || !wanted) return;
  link("connecting", false);
  const ws = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/socket`);
  socket = ws;
  ws.onopen = () => ws.send(JSON.stringify({ m: "hello", code: me.code, name: me.name, client: me.client, boot: me.boot }));
  ws.onmessage = (e) => { const got_us = clock_us(); lastHeard = performance.now(); took(ws, JSON.parse(e.data), got_us); };
  ws.onclose = () => {
    if (socket !== ws) return;
    socket = null;
    // Whoever was refused has been told so.
    if (!wanted) return;
    link("no link to the job: what you touch is kept here with its time", false);
    setTimeout(connect, Math.min(8000, 500 * 2 ** tries++));
  };
}
setInterval(() => {
  // A link that hangs without being closed.
  if (socket && socket.readyState === 1 && performance.now() - lastHeard > 20000) socket.close();
}, 2000);

function took(ws, m, got_us) {
  switch (m.m) {
    case "welcome":
      tries = 0;
      state.role = m.role;
      state.recorded = m.recorded;
      document.body.dataset.role = m.role;
      $("who").textContent = `${m.name}, ${({ "far-end": "far end", watch: "watching", lead: "lead" })[m.role]}${m.recorded ? " (a recording)" : ""}`;
      $("join").hidden = true;
      $("job").hidden = false;
      $("now").hidden = m.role === "watch";
      link("connected", true);
      stayAwake();
      for (const act of waiting) send(act);
      break;
    case "refused":
      wanted = state.role !== null;
      if (!wanted) { $("join").hidden = false; $("join-why").textContent = m.why; link("refused", false); } else { $("sent").textContent = m.why; }
      break;
    case "ping":
      ws.send(JSON.stringify({ m: "pong", n: m.n, got_us, sent_us: clock_us() }));
      break;
    case "tied":
      state.tied = m;
      if (socket) link("connected", true);
      break;
    case "site":
      state.site = m.site;
      $("site").textContent = m.site.name;
      document.title = `${m.site.name} · plumeline`;
      break;
    case "set":
      if (m.s.points) state.air = m.s.points;
      for (const k in m.s) s[k] = m.s[k];
      state.now_ms = Math.max(m.now_ms, lastAir());
      render(Object.keys(m.s));
      break;
    case "air":
      state.air.push(m.p);
      if (state.air.length > 3000) state.air.splice(0, 600);
      state.now_ms = m.p[0];
      state.drawn = false;
      break;
    case "now":
      state.now_ms = Math.max(m.ms, lastAir());
      clocks();
      break;
    case "told":
      told(m);
      break;
  }
}
const lastAir = () => (state.air.length ? state.air[state.air.length - 1][0] : 0);

function link(words, up) {
  const tie = up && state.tied ? `; a touch counts to ${state.tied.u_ms < 1 ? "1" : state.tied.u_ms.toFixed(0)} ms` : "";
  const kept = waiting.length ? `; ${waiting.length} kept here, not sent yet` : "";
  const over = !up && s.over;
  $("link").textContent = over ? "The job has ended, and its page with it." : `${up ? "Link: " : "LINK: "}${words}${tie}${kept}`;
  $("link").className = over ? "soft" : up ? "good" : "warn";
}

// ---- answers ----

function send({ what, ...act }) {
  if (socket && socket.readyState === 1 && state.role) socket.send(JSON.stringify({ m: "act", ...act }));
}
function answer(ask, words, touched_us) {
  if (waiting.some((a) => a.prompt === ask.id)) return;
  const act = { id: random(), prompt: ask.id, words, touched_us, boot: me.boot, what: ask.act };
  if ($("note").value.trim()) act.note = $("note").value.trim();
  if (photo) act.photo = photo;
  waiting.push(act);
  keep();
  $("sent").textContent = socket ? "sent; not taken yet" : "no link: kept here with its time, and sent when the link is back";
  send(act);
  render(["asks"]);
}
function keep() {
  store.set("waiting", JSON.stringify(waiting));
  link(socket && state.role ? "connected" : "no link to the job: what you touch is kept here with its time", !!(socket && state.role));
}
let toldAt = 0;
function told(m) {
  toldAt = performance.now();
  const act = waiting.find((a) => a.id === m.id);
  waiting = waiting.filter((a) => a.id !== m.id);
  keep();
  $("sent").textContent = m.taken ? m.words === "taken" ? "taken" : `taken: ${m.words}` : `NOT taken: ${m.words}`;
  if (m.taken && act) {
    $("note").value = "";
    $("photo").value = "";
    $("photo-is").textContent = "";
    photo = null;
    $("beside").open = false;
  }
  render(["asks"]);
}
$("photo").addEventListener("change", async () => {
  const file = $("photo").files[0];
  photo = null;
  if (!file) return;
  $("photo-is").textContent = "sending the photo";
  try {
    const r = await fetch("/photo", { method: "POST", body: file, headers: { "x-code": me.code, "x-client": me.client } });
    const text = await r.text();
    if (!r.ok) throw new Error(text);
    photo = text;
    $("photo-is").textContent = "photo kept; it goes with your next answer";
  } catch (e) {
    $("photo-is").textContent = `the photo was NOT kept: ${e.message}; choose it again`;
    $("photo").value = "";
  }
});

// ---- what is asked ----

const DONE = {
  "close-hole": "Closed", "open-hole": "Open", "close-holes": "All closed", "open-holes": "All open", "open-alone": "Only it is open",
  "release-smoke": "Released", "stop-smoke": "Stopped", "shut-inlet": "Shut", "refit-inlet": "Back in place",
  "cover-inlets": "Covered", "uncover-inlets": "Covers off",
};
function mine() {
  return (s.asks || []).filter((a) => a.may.includes(state.role) && !waiting.some((w) => w.prompt === a.id));
}
function button(words, cls, touch) {
  const b = document.createElement("button");
  b.type = "button";
  b.textContent = words;
  if (cls) b.className = cls;
  // The moment of the touch is that of the finger going down, not of the work behind it.
  let down = null;
  b.addEventListener("pointerdown", () => { down = clock_us(); });
  b.addEventListener("click", () => { touch(down !== null && clock_us() - down < 3e6 ? down : clock_us()); down = null; });
  return b;
}
// Words of one's own, then one button.
function words(label, send, says, numeric) {
  const box = document.createElement("div");
  const l = document.createElement("label"), i = document.createElement("input");
  i.id = `w-${random()}`;
  i.maxLength = 900;
  if (numeric) i.inputMode = "decimal";
  l.htmlFor = i.id;
  l.textContent = label;
  box.append(l, i, button(says, "", (t) => { if (i.value.trim()) send(i.value.trim(), t); else { i.focus(); $("sent").textContent = `${label}: please write it`; } }));
  return box;
}
function folded(title, inside) {
  const d = document.createElement("details"), t = document.createElement("summary");
  t.textContent = title;
  d.append(t, inside);
  return d;
}
function ask(a) {
  const box = $("buttons");
  box.replaceChildren();
  const say = (w) => (t) => answer(a, w, t);
  const sure = (w, means) => {
    // What has consequences is said twice.
    box.replaceChildren(line(`You say: ${means || w}`), button("Yes, so it is", "main", say(w)), button("Back", "", () => ask(a)));
    box.querySelector("button").focus();
  };
  const cannot = (title, label, make) => box.append(folded(title, words(label, (w, t) => answer(a, make(w), t), "Say so")));
  switch (a.wants) {
    case "done":
    case "moment":
      box.append(button(DONE[a.act] || "Done", "main", say("")));
      if (a.later) box.append(button("Not reachable now: later", "", say("later")));
      cannot("Can't", "Why not?", (w) => `cannot ${w}`);
      break;
    case "notice":
      if (DONE[a.act]) box.append(button(DONE[a.act], "main", say("")));
      cannot("It went wrong", "What went wrong?", (w) => `cannot ${w}`);
      break;
    case "yes-no":
      box.append(button("Yes", "main", say("yes")), button("No", "", say("no")));
      cannot("No, with a reason", "Why?", (w) => `no, ${w}`);
      break;
    case "number":
      box.append(words(`Number, in ${a.unit}`, (w, t) => answer(a, w, t), "Send", true));
      cannot("No number", "Why not?", (w) => `no, ${w}`);
      break;
    case "text":
      box.append(words("Your words", (w, t) => answer(a, w, t), "Send"));
      break;
    case "tick":
      box.append(button("Done", "main", say("")));
      cannot("Not done", "Why not?", (w) => `no ${w}`);
      cannot("Does not apply", "Why not?", (w) => `n/a ${w}`);
      break;
    case "numbers": {
      const boxes = a.words.map(([n]) => {
        const l = document.createElement("label"), i = document.createElement("input");
        l.className = "tick";
        i.type = "checkbox";
        i.value = n;
        l.append(i, `line ${n} is done`);
        return l;
      });
      box.append(...boxes, button("Send what is ticked", "main", (t) => {
        const on = boxes.map((l) => l.firstChild).filter((i) => i.checked).map((i) => i.value);
        answer(a, on.length ? on.join(" ") : "none", t);
      }));
      break;
    }
    case "one-of":
      for (const [w, means] of a.words) {
        if (w.endsWith(":")) box.append(folded(w.slice(0, -1), words(means || w, (more, t) => answer(a, `${w} ${more}`, t), "Say so")));
        else box.append(button(means ? `${w}: ${means}` : w, "word", () => sure(w, means)));
      }
      cannot("No, with a reason", "Why not?", (w) => `no, ${w}`);
      break;
  }
  if (a.back) box.append(button("Take the answer before back", "", say("back")));
  if (state.role === "lead") box.append(folded("Type it as at the terminal", words("Your words", (w, t) => answer(a, w, t), "Send")));
}
function line(text, cls) {
  const p = document.createElement("p");
  p.textContent = text;
  if (cls) p.className = cls;
  return p;
}
function place(a) {
  const where = $("where");
  where.replaceChildren();
  const pipe = state.site && a && a.inlet !== null && state.site.pipes.find((p) => p.inlet === a.inlet);
  if (!pipe) return;
  const hole = a.hole && pipe.holes.find((h) => h.number === a.hole[1]);
  const after = hole && following(a);
  // Whoever stands on a ladder reads the place first.
  const name = holeName(pipe, hole);
  where.append(line(hole && hole.place ? hole.place : name[0].toUpperCase() + name.slice(1), "place"));
  if (hole) where.append(line(hole.place ? name + holeFar(hole) : holeFar(hole).replace(/^, /, ""), "soft"), drawPipe(pipe, hole.number, after && after[0] === pipe.inlet ? after[1] : null));
}
// The place after the one that is asked for: [inlet, hole]; null: it is the last; undefined: no walk goes on.
function following(a) {
  const list = a && a.hole && state.site ? (a.act === "release-smoke" || a.act === "release-went" ? state.site.smoke : state.site.walk) : [];
  const at = list.findIndex((h) => h[0] === a?.hole?.[0] && h[1] === a?.hole?.[1]);
  return at < 0 ? undefined : list[at + 1] || null;
}
function next(a) {
  const after = following(a);
  let text = "";
  if (after) {
    const pipe = state.site.pipes.find((p) => p.inlet === after[0]);
    text = `After that: ${holeWords(pipe, pipe && pipe.holes.find((h) => h.number === after[1]))}.`;
  } else if (after === null) text = "This is the last place of this walk.";
  $("next").textContent = text;
}
function render_asks() {
  const a = mine()[0] || null;
  const over = !a && s.over;
  const key = a ? `${a.id}` : over ? "over" : "none";
  $("now").classList.toggle("rest", !a);
  if (key !== open) {
    open = key;
    if (over || (a && performance.now() - toldAt > 3000)) $("sent").textContent = "";
    $("ask").classList.toggle("long", !!a && a.text.length > 120);
    $("ask").textContent = a ? a.text : over ? `The job has ended: ${over.verdict}. There is nothing more to do here.` : waiting.length ? "Wait: your answer is on its way." : "Nothing to do now: wait for the next question.";
    if (a) { ask(a); call(); } else $("buttons").replaceChildren();
    place(a);
    next(a);
  }
  $("beside").hidden = !a;
  meanwhile();
  const others = (s.asks || []).filter((x) => !x.may.includes(state.role));
  $("waits").replaceChildren(...others.map((x) => item(`waits for ${x.may.map((r) => r.replace("-", " ")).join(" or ")}: ${x.text}`)));
}
// What goes on while nothing is asked: whoever holds smoke to a hole goes on holding it.
function meanwhile() {
  const released = waiting.some((w) => w.what === "release-smoke" && w.words === "");
  const left = s.doing && s.doing.left_s !== null ? `, ${hms(s.doing.left_s - Math.max(0, state.now_ms / 1000 - s.doing.at_us / 1e6))} left` : "";
  $("meanwhile").textContent = released ? "Hold the smoke there until it is to be stopped." : open === "none" && s.doing ? `Under way: ${s.doing.says}${left}` : "";
}
// A new question calls, unless the device is to be quiet.
let sound = null;
function call() {
  if (quiet) return;
  if (navigator.vibrate && navigator.userActivation?.hasBeenActive) navigator.vibrate([150, 80, 150]);
  if (!sound) return;
  const o = sound.createOscillator(), g = sound.createGain();
  o.frequency.value = 880;
  g.gain.value = 0.2;
  o.connect(g).connect(sound.destination);
  o.start();
  o.stop(sound.currentTime + 0.15);
}
document.addEventListener("click", () => { if (!sound && window.AudioContext) sound = new AudioContext(); }, { once: true });
function hush() {
  $("quiet").textContent = `Sound and vibration: ${quiet ? "off" : "on"}`;
  $("quiet").setAttribute("aria-pressed", String(quiet));
}
$("quiet").addEventListener("click", () => { quiet = !quiet; store.set("quiet", quiet ? "yes" : "no"); hush(); });
hush();

// ---- the job ----

function item(text, verdict, cls) {
  const li = document.createElement("li");
  if (verdict) {
    const v = document.createElement("span");
    v.className = `verdict ${verdict === "pass" ? "good" : "warn"}`;
    v.textContent = verdict;
    li.append(v, " ");
  }
  const t = document.createElement("span");
  t.textContent = text;
  if (cls) t.className = cls;
  li.append(t);
  return li;
}
function hms(seconds) {
  const t = Math.max(0, Math.floor(seconds)), two = (n) => String(n).padStart(2, "0");
  return `${Math.floor(t / 3600)}:${two(Math.floor(t / 60) % 60)}:${two(t % 60)}`;
}
function render(which) {
  const has = (k) => which.includes(k);
  if (has("asks")) render_asks();
  if (has("stage")) $("stage").textContent = s.stage ? `Stage: ${s.stage}` : "";
  if (has("doing")) { $("doing").textContent = s.doing ? s.doing.says : ""; meanwhile(); }
  if (has("links")) $("unit").textContent = Object.entries(s.links || {}).map(([k, l]) => `Line to the ${k}: ${l.up ? "" : "DOWN: "}${l.words}`).join(". ");
  if (has("stages")) $("stages").replaceChildren(...s.stages.map((x) => item(x.title, x.verdict)));
  if (has("findings")) {
    const of = (v) => s.findings.filter((f) => f.verdict === v).length;
    $("count").textContent = `${of("pass")} pass, ${of("fail")} fail, ${of("undecided")} undecided`;
    $("findings").replaceChildren(...s.findings.slice().reverse().map((f) => {
      const figures = f.measured ? ` Measured ${f.measured}${f.expected ? `, expected ${f.expected}` : ""}.` : "";
      const next = f.verdict !== "pass" && f.next ? ` Next: ${f.next}` : "";
      return item(`${f.subject}: ${f.says}.${figures}${next}`, f.verdict, f.void ? "void" : "");
    }));
  }
  if (has("said")) $("said").replaceChildren(...s.said.slice().reverse().map((t) => item(t)));
  if (has("people")) $("people").replaceChildren(...s.people.map((p) => item(`${p.name}, ${p.role.replace("-", " ")} (page ${p.page})${p.here ? "" : ": not connected"}`)));
  if (has("over")) {
    $("over").hidden = !s.over;
    render_asks();
    if (s.over) $("over").textContent = `The job has ended: ${s.over.verdict}; ${s.over.because}.`;
  }
  if (has("out")) clocks();
  draw();
}
function clocks() {
  $("out").hidden = !s.out;
  if (!s.out) return;
  const seconds = state.now_ms / 1000 - s.out.since_us / 1e6, over = seconds > s.out.limit_s;
  $("out").textContent = `Out of service ${hms(seconds)} of ${hms(s.out.limit_s)}${over ? ": OVER THE LIMIT" : ""}`;
  $("out").className = over ? "warn" : "";
}
function figure(id, svg, caption, into) {
  let f = document.getElementById(id);
  if (!f) {
    f = document.createElement("figure");
    f.id = id;
    into.append(f);
  }
  const c = document.createElement("figcaption");
  c.textContent = caption;
  f.replaceChildren(c, svg);
}
const SECONDS = 180;
function draw() {
  if (!state.site || !state.air.length) return;
  const now = lastAir(), last = state.air[state.air.length - 1], unit = last[3];
  const absolute = unit === "L/min";
  for (const p of state.site.pipes) {
    const i = p.inlet - 1, v = last[1][i], band = absolute ? p.flow : null;
    const expected = band ? `; predicted ${band[0].toFixed(1)} ± ${band[1].toFixed(1)}` : "";
    const caption = `Pipe ${p.inlet}: ${v === null || v === undefined ? "no flow is told" : `${v.toFixed(1)} ${unit}`}${expected}`;
    figure(`pipe-${p.inlet}`, chart(state.air.map((a) => [a[0], a[1][i] ?? null]), { seconds: SECONDS, now, band, says: caption, unit }), caption, $("pipes"));
  }
  const worst = (a) => a[2].reduce((m, k) => (k !== null && (m === null || k > m) ? k : m), null);
  const k = worst(last), r = s.release;
  let caption = k === null ? "no smoke reading is told" : `${k.toFixed(3)} %/m`;
  const spans = [];
  if (r) {
    const at = r.at_us / 1000, pipe = state.site.pipes.find((p) => p.inlet === r.hole[0]);
    const half = pipe && pipe.holes.find((h) => h.number === r.hole[1])?.half_s;
    if (half) spans.push([at + (half[0] - half[1]) * 1000, at + (half[0] + half[1]) * 1000]);
    caption += `; released at hole ${r.hole[1]} of pipe ${r.hole[0]}${r.by ? ` by ${r.by}` : ""}${half ? `; half of its plateau predicted after ${half[0].toFixed(1)} ± ${half[1].toFixed(1)} s (band)` : ""}`;
  }
  figure("smoke-chart", chart(state.air.map((a) => [a[0], worst(a)]), { seconds: SECONDS, now, marks: r ? [r.at_us / 1000] : [], spans, says: caption, unit: "%/m" }), caption, $("smoke"));
}
setInterval(() => { if (!state.drawn) { state.drawn = true; draw(); clocks(); meanwhile(); } }, 500);

// Where the browser lets it (over TLS only), the screen stays on while the page is looked at.
let awake = null;
async function stayAwake() {
  if (!navigator.wakeLock || document.visibilityState !== "visible" || !state.role || (awake && !awake.released)) return;
  try { awake = await navigator.wakeLock.request("screen"); } catch { /* the battery is low, or it may not */ }
}
document.addEventListener("visibilitychange", stayAwake);

// ---- joining ----

$("join").addEventListener("submit", (e) => {
  e.preventDefault();
  const name = $("name").value.trim();
  if (!name) return;
  me.name = name;
  store.set("name", name);
  wanted = true;
  $("join-why").textContent = "";
  connect();
});
if (!me.code) {
  $("join").hidden = false;
  $("join-why").textContent = "This address alone opens nothing: take the link or the square code that the terminal shows.";
  $("name").disabled = true;
  link("no code", false);
} else if (!me.name) {
  $("join").hidden = false;
  link("not joined yet", false);
} else connect();
