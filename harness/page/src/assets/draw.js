// Drawings: where a hole is along its pipe, and charts. Everything is made by the DOM; text is always text.
"use strict";

const SVG = "http://www.w3.org/2000/svg";

function el(name, attributes, text) {
  const e = document.createElementNS(SVG, name);
  for (const key in attributes) e.setAttribute(key, attributes[key]);
  if (text !== undefined) e.textContent = text;
  return e;
}
function picture(width, height, says) {
  const svg = el("svg", { viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": says });
  return svg;
}

// The pipe with its branches, by length from the unit. The hole that is meant stands out by size, form and number; the one after it
// has a ring round it and the word "next".
function drawPipe(pipe, number, next) {
  const here = pipe.holes.find((h) => h.number === number);
  const then = pipe.holes.find((h) => h.number === next);
  const rows = Math.max(0, ...pipe.lines.flatMap((l) => [l[1], l[3]]), ...pipe.rings.flatMap((l) => [l[1], l[3]]));
  const W = 340, TOP = 44, ROW = 44, H = TOP + ROW * rows + (pipe.rings.length ? 62 : 46);
  const says = `Drawing: ${holeWords(pipe, here)}${then ? `; then ${holeWords(pipe, then)}` : ""}`;
  const svg = picture(W, H, says);
  const last = Math.max(1e-9, ...pipe.lines.flatMap((l) => [l[0], l[2]]), ...pipe.holes.map((h) => h.along_m || 0));
  const x = (m) => 48 + (W - 92) * (m / last), y = (row) => TOP + ROW * row;
  svg.append(el("rect", { x: 4, y: TOP - 17, width: 40, height: 34, class: "hole" }), el("text", { x: 8, y: TOP + 5 }, "unit"));
  svg.append(el("line", { x1: 44, y1: TOP, x2: x(0), y2: TOP, class: "pipe" }));
  for (const l of pipe.lines) svg.append(el("line", { x1: x(l[0]), y1: y(l[1]), x2: x(l[2]), y2: y(l[3]), class: "pipe" }));
  // A length that closes a ring goes round below what it joins.
  for (const l of pipe.rings) {
    svg.append(el("path", { d: `M${x(l[0])} ${y(l[1])} C${x(l[0])} ${y(l[1]) + 66} ${x(l[2])} ${y(l[3]) + 66} ${x(l[2])} ${y(l[3])}`, class: "ring" }));
  }
  const at = (h) => [x(h.along_m || 0), y(h.row)];
  const write = (h, big) => {
    const [cx, cy] = at(h);
    svg.append(el("text", { x: cx, y: cy + (big ? 32 : 26), "text-anchor": "middle", class: big ? "big" : "" }, String(h.number)));
  };
  // Numbers of all holes only where they have room.
  const room = pipe.holes.length < 2 || (W - 92) / pipe.holes.length >= 26;
  for (const h of pipe.holes) {
    if (h === here) continue;
    const [cx, cy] = at(h);
    svg.append(el("circle", { cx, cy, r: 5, class: "hole" }));
    if (room && rows === 0) write(h, false);
  }
  if (then) {
    const [cx, cy] = at(then);
    svg.append(el("circle", { cx, cy, r: 10, class: "then" }));
    // Beside the arrow where that stands close by.
    const [hx, hy] = here ? at(here) : [-99, cy], beside = hy === cy && Math.abs(cx - hx) < 30;
    const place = beside ? (cx < hx ? [hx - 14, "end"] : [hx + 14, "start"]) : [cx, "middle"];
    svg.append(el("text", { x: place[0], y: cy - 16, "text-anchor": place[1] }, "next"));
  }
  if (here) {
    const [cx, cy] = at(here);
    svg.append(el("path", { d: `M${cx} ${cy - 13} l-10 -18 h20 z`, class: "here" }), el("circle", { cx, cy, r: 11, class: "here" }));
    write(here, true);
  }
  return svg;
}
function holeName(pipe, hole) {
  if (!hole) return `pipe ${pipe.inlet}`;
  const end = hole.words === "hole" ? "" : ` (${hole.words})`;
  return `hole ${hole.number}${end} of pipe ${pipe.inlet}`;
}
function holeFar(hole) {
  const label = hole && hole.label ? `, labelled ${hole.label}` : "";
  const far = !hole || hole.along_m === null ? "" : `, about ${Math.round(hole.along_m)} m of pipe from the unit`;
  return label + far;
}
function holeWords(pipe, hole) {
  const place = hole && hole.place ? `, \u201c${hole.place}\u201d` : "";
  return holeName(pipe, hole) + place + holeFar(hole);
}

// A line over the last seconds. `band`: what is predicted, [middle, half width]. `marks`: instants in ms with words.
function chart(points, opts) {
  const { seconds, now, band, marks, says, unit } = opts;
  const W = 340, H = 110, L = 44, B = 22;
  const svg = picture(W, H, says);
  const from = now - seconds * 1000;
  const seen = points.filter((p) => p[0] >= from && p[1] !== null);
  let values = seen.map((p) => p[1]);
  if (band) values = values.concat(band[0] - band[1], band[0] + band[1]);
  let low = Math.min(...values), high = Math.max(...values);
  if (!isFinite(low)) { low = 0; high = 1; }
  const room = Math.max((high - low) * 0.1, Math.abs(high) * 0.02, 1e-4);
  // What is never below nothing is not drawn below it.
  low = low >= 0 ? Math.max(0, low - room) : low - room;
  high += room;
  const x = (t) => L + (W - L) * (t - from) / (seconds * 1000);
  const y = (v) => 4 + (H - B - 4) * (high - v) / (high - low);
  if (band) {
    svg.append(el("rect", { x: L, y: y(band[0] + band[1]), width: W - L, height: Math.max(1, y(band[0] - band[1]) - y(band[0] + band[1])), class: "band" }));
    svg.append(el("line", { x1: L, x2: W, y1: y(band[0]), y2: y(band[0]), class: "middle" }));
  }
  for (const spans of opts.spans || []) {
    svg.append(el("rect", { x: x(spans[0]), y: 4, width: Math.max(1, x(spans[1]) - x(spans[0])), height: H - B - 4, class: "band" }));
  }
  for (const m of marks || []) {
    if (m < from) continue;
    svg.append(el("line", { x1: x(m), x2: x(m), y1: 2, y2: H - B, class: "mark" }));
    svg.append(x(m) > W - 80 ? el("text", { x: x(m) - 4, y: 16, "text-anchor": "end" }, "released") : el("text", { x: x(m) + 4, y: 16 }, "released"));
  }
  let d = "", before = null;
  for (const p of seen) {
    d += (before === null || p[0] - before > 5000 ? "M" : "L") + x(p[0]).toFixed(1) + " " + y(p[1]).toFixed(1);
    before = p[0];
  }
  if (d) svg.append(el("path", { d, class: "line" }));
  const digits = high - low < 0.1 ? 3 : high - low < 10 ? 1 : 0;
  svg.append(el("text", { x: 2, y: 14 }, high.toFixed(digits)), el("text", { x: 2, y: H - B }, low.toFixed(digits)));
  svg.append(el("text", { x: L, y: H - 6 }, `${seconds} s ago`), el("text", { x: W - 4, y: H - 6, "text-anchor": "end" }, "now"), el("text", { x: 2, y: (H - B) / 2 + 6 }, unit));
  return svg;
}
