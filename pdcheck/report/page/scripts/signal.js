// The picture that can be zoomed: who spoke, the lines, the waits, all over one stretch of time.
const scope = document.getElementById('scope');
const pen = scope.getContext('2d');
const view = { a: 0, b: data.duration, mark: null };
const LEAST = 2e-5;
let ink = {}, wide = 0, left = 0, waiting = 0, aside = [];

function readInk() {
  const css = getComputedStyle(document.documentElement);
  for (const name of ['paper', 'ink', 'soft', 'rule', 'good', 'bad', 'wave', 'band'])
    ink[name] = css.getPropertyValue('--' + name).trim();
}

const lanes = data.kinds.some(k => k.from === 2 || k.to === 2) ? 3 : 2;
const NAMES = 36, LANE = 22, GAP = 20, CLOSE = 56, WAITS = Math.min(3, data.waits.t.length), WAIT = 30;
const HEIGHT = { cc: 52, vbus: 96, current: 60 };
const MANY = 80, FIRST = ['Source_Capabilities', 'Request', 'Accept', 'PS_RDY', 'Reject', 'Wait', 'Hard Reset', 'Soft_Reset'];
const laneY = n => NAMES + 8 + LANE * n;
const tops = [];
let height = NAMES + LANE * lanes + GAP;
data.lines.forEach((line, n) => {
  tops[n] = height;
  height += HEIGHT[line.role] + GAP + (n === 0 ? CLOSE : 0);
});
const waitTop = height;
height += WAITS * WAIT;
height += 24;

const X = t => left + (t - view.a) / (view.b - view.a) * (wide - left);
const timeAt = x => view.a + (x - left) / (wide - left) * (view.b - view.a);

function stroke(color, width, dash) {
  pen.strokeStyle = color; pen.lineWidth = width; pen.setLineDash(dash || []);
}
function line(x1, y1, x2, y2) { pen.beginPath(); pen.moveTo(x1, y1); pen.lineTo(x2, y2); pen.stroke(); }
function words(text, x, y, room, color, bold, align) {
  pen.font = (bold ? 'bold ' : '') + '12px ui-sans-serif, system-ui, sans-serif';
  if (room !== undefined && pen.measureText(text).width > room) {
    if (room < 14) return;
    while (text.length > 1 && pen.measureText(text + '…').width > room) text = text.slice(0, -1);
    text += '…';
  }
  pen.fillStyle = color || ink.ink; pen.textAlign = align || 'left'; pen.fillText(text, x, y);
}

/** Words left of the picture, for after it has been drawn. */
function gutter(...label) { aside.push(label); }

function axis() {
  const least = (view.b - view.a) / Math.max(2, (wide - left) / 110);
  let step = Math.pow(10, Math.floor(Math.log10(least)));
  step *= [1, 2, 5, 10].find(n => n * step >= least * 0.999) || 10;
  const [unit, by] = view.b >= 1 ? ['s', 1] : view.b >= 1e-3 ? ['ms', 1e3] : ['µs', 1e6];
  const places = Math.max(0, -Math.floor(Math.log10(step * by) + 1e-9));
  const y = height - 22;
  stroke(ink.ink, 1.2); line(left, y, wide, y);
  for (let n = Math.ceil(view.a / step); n * step <= view.b; n++) {
    const x = X(n * step);
    stroke(ink.rule, 0.6); line(x, NAMES, x, y);
    stroke(ink.ink, 1.2); line(x, y, x, y + 4);
    const label = (n * step * by).toFixed(places) + ' ' + unit, half = pen.measureText(label).width / 2 + 2;
    words(label, Math.min(Math.max(x, left + half), wide - half), y + 17, undefined, ink.ink, false, 'center');
  }
}

function staff() {
  const title = ['charger', 'device', 'cable'];
  for (let n = 0; n < lanes; n++) {
    stroke(ink.ink, 1.6); line(left, laneY(n), wide, laneY(n));
    gutter(title[n], laneY(n) + 4, ink.ink, true);
  }
  const from = Math.max(0, firstFrom(data.t, view.a) - 1), to = firstFrom(data.t, view.b);
  let last = -9, run = -1, until = -1;
  const said = [];
  const dense = () => {
    if (run >= 0) { pen.fillStyle = ink.soft; pen.globalAlpha = 0.55; pen.fillRect(run - 1, laneY(0), until - run + 2, LANE); pen.globalAlpha = 1; }
    run = -1;
  };
  for (let i = from; i < to; i++) {
    const kind = data.kinds[data.kind[i]], x = X(data.t[i]), x2 = X(data.end[i]);
    if (x2 < left) continue;
    if (x - last < 3) { if (run < 0) run = last; until = x; continue; }
    dense(); last = x;
    arrow(kind, x, x2, data.deaf.has(i));
    if (kind.name !== 'GoodCRC' || x2 - x > 60) {
      const at = Math.max(x, left);
      const rank = FIRST.indexOf(kind.name);
      if (at < wide - 20) said.push([rank < 0 ? FIRST.length : rank, at, kind.name]);
    }
  }
  dense();
  names(said);
  for (let n = firstFrom(data.bursts, view.a); n < data.bursts.length && data.bursts[n] <= view.b; n++) arrow({ from: 3, to: 3, problem: '' }, X(data.bursts[n]), 0, false);
}

/** Names over the arrows, where they do not run into one another; those that matter most first. */
function names(said) {
  const taken = [];
  said.sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  // Where very many arrows stand, each name is written once.
  const once = said.length > MANY ? said.filter(([, , name], n) => said.findIndex(one => one[2] === name) === n) : said;
  for (const [, at, name] of once) {
    words(name, 0, -20);
    // A name near the right end stands back, so that the frame does not cut it.
    const long = pen.measureText(name).width, from = Math.max(left, Math.min(at, wide - long - 5)), end = from + long + 10;
    const level = [0, 1].find(n => taken.every(([a, b, on]) => on !== n || from > b || end < a));
    if (level === undefined) continue;
    taken.push([from, end, level]);
    words(name, from + 2, 27 - 14 * level);
    stroke(ink.soft, 0.6, [1, 2]); line(at, 29 - 14 * level, at, laneY(0));
  }
}

function arrow(kind, x, x2, deaf) {
  if (kind.from > 2 || kind.to > 2) {
    const top = laneY(0) - 4, bottom = laneY(lanes - 1) + 4;
    if (kind.problem === undefined) { stroke(ink.ink, 3); line(x, top, x, bottom); }
    else { stroke(ink.bad, 1.6); const m = (top + bottom) / 2; line(x - 4, m - 4, x + 4, m + 4); line(x - 4, m + 4, x + 4, m - 4); }
    return;
  }
  const y1 = laneY(kind.from), y2 = laneY(kind.to), way = y2 > y1 ? 1 : -1;
  stroke(deaf ? ink.bad : ink.ink, 1.3, deaf ? [3, 2] : []);
  pen.beginPath(); pen.moveTo(x, y1); pen.lineTo(x, y2 - way); pen.stroke();
  pen.setLineDash([]);
  pen.beginPath(); pen.moveTo(x - 3, y2 - 7 * way); pen.lineTo(x, y2 - way); pen.lineTo(x + 3, y2 - 7 * way); pen.stroke();
  if (x2 - x > 3) { stroke(deaf ? ink.bad : ink.ink, 4); line(x, y1, x2, y1); }
}

/** The least and the greatest value between two moments, from the finest layer that holds them; null for none. */
function between(one, a, b) {
  const layer = one.layers.find(l => l.start <= a + 1e-12 && l.end >= b - 1e-12) || one.layers[one.layers.length - 1];
  const first = Math.max(0, Math.floor((a - layer.start) / layer.step));
  const last = Math.min(layer.low.length - 1, Math.max(first, Math.ceil((b - layer.start) / layer.step) - 1));
  let low = Infinity, high = -Infinity;
  for (let n = first; n <= last; n++) { if (layer.low[n] < low) low = layer.low[n]; if (layer.high[n] > high) high = layer.high[n]; }
  return low > high ? null : [low, high, layer.step];
}

function curve(one, top) {
  const tall = HEIGHT[one.role], scale = tall / (one.high - one.low);
  const Y = v => top + tall - (Math.min(Math.max(v, one.low), one.high) - one.low) * scale;
  words(one.label, left, top - 5, undefined, ink.ink, true);
  if (one.unit) {
    const reach = (one.high - one.low) / 1000, step = [0.2, 0.5, 1, 2, 5, 10, 20].find(s => reach / s <= 3.2) || 50;
    for (let v = Math.ceil(one.low / 1000 / step) * step; v * 1000 <= one.high; v += step) {
      stroke(ink.rule, 0.6); line(left, Y(v * 1000), wide, Y(v * 1000));
      gutter(+v.toPrecision(6) + ' ' + one.unit, Y(v * 1000) + 4, ink.soft, false);
    }
  }
  if (one.role === 'vbus') bands(Y);
  const taken = one === data.lines[0] && one.role === 'cc' ? closeUps(Y) : [];
  const per = (view.b - view.a) / (wide - left);
  stroke(ink.wave, 1.3); pen.fillStyle = ink.wave;
  let before = null, skip = 0;
  const rough = [];
  pen.beginPath();
  for (let x = left; x < wide; x++) {
    const a = view.a + (x - left) * per;
    while (skip < taken.length && taken[skip][1] < a) skip++;
    if (skip < taken.length && taken[skip][0] <= a) { before = null; continue; }
    const seen = between(one, Math.max(0, a), Math.min(data.duration, a + per));
    if (!seen) { before = null; continue; }
    const y1 = Y(seen[1]), y2 = Y(seen[0]);
    if (taken.length && y2 - y1 > 2) { rough.push(x); before = null; continue; }
    if (y2 - y1 > 1.2) { pen.moveTo(x + 0.5, y1); pen.lineTo(x + 0.5, y2); before = (y1 + y2) / 2; continue; }
    if (before === null) pen.moveTo(x, y1); else pen.lineTo(x, y1);
    before = y1; pen.lineTo(x + 1, y1);
  }
  pen.stroke();
  if (rough.length && data.idle !== null && !one.unit) {
    // So close the overview's columns are wider than what is looked at: between packets only the idle level is known.
    stroke(ink.soft, 1.2); pen.beginPath();
    for (const x of rough) if (x % 4 < 2) { pen.moveTo(x, Y(data.idle)); pen.lineTo(x + 1, Y(data.idle)); }
    pen.stroke();
  }
}

function bands(Y) {
  let written = left;
  const seen = [];
  for (const [a, b, low, high, nominal, text] of data.contracts) {
    if (b < view.a || a > view.b || low === null) continue;
    const x1 = Math.max(X(a), left), x2 = Math.min(X(b), wide), last = seen[seen.length - 1];
    // Contracts that take less than some columns each are drawn as one.
    if (last && x2 - last.x2 < 6 && x1 - last.x2 < 1) {
      last.x2 = x2; last.low = Math.min(last.low, low); last.high = Math.max(last.high, high); last.nominal = null; last.text = 'several contracts';
    } else seen.push({ x1, x2, low, high, nominal, text: 'contract ' + text });
  }
  for (const { x1, x2, low, high, nominal, text } of seen) {
    pen.fillStyle = ink.band; pen.fillRect(x1, Y(high), x2 - x1, Y(low) - Y(high));
    stroke(ink.good, 1, [4, 3]); pen.strokeRect(x1, Y(high), x2 - x1, Y(low) - Y(high));
    if (nominal !== null) { stroke(ink.good, 1, [8, 3]); line(x1, Y(nominal), x2, Y(nominal)); }
  }
  for (const { x1, x2, low, high, text } of seen) {
    const said = text + '; ' + (low / 1000).toFixed(2) + ' to ' + (high / 1000).toFixed(2) + ' V allowed', long = pen.measureText(said).width;
    const at = Math.max(left + 4, Math.min(x1 + 4, wide - long - 4));
    if (at > written) { words(said, at, Y(low) + 14, wide - at); written = at + long + 8; }
  }
}

/** Waves of the packets in view, where they are wide enough to be seen; returns the stretches that they take. */
function closeUps(Y) {
  const taken = [], bitWide = 3.33e-6 / (view.b - view.a) * (wide - left);
  if (bitWide < 0.35) {
    if (data.t.length) words('Zoom in on a message to read its bits here.', left + 2, tops[0] + HEIGHT.cc + 20, wide - left, ink.soft);
    return taken;
  }
  const from = Math.max(0, firstFrom(data.t, view.a) - 1), to = firstFrom(data.t, view.b);
  for (let i = from; i < to; i++) {
    if (data.end[i] < view.a) continue;
    const bits = bitsOf(i), edges = data.edges[i];
    if (data.volts[i]) taken.push(volts(data.volts[i], Y));
    else if (edges) taken.push(wave(edges, Y));
    else if (bits) taken.push(drawn(bits, Y));
    if (bits) under(bits, bitWide);
  }
  for (const edges of data.unread) {
    const a = edges[0] * EDGE, b = a + edges[1] * EDGE;
    if (b > view.a && a < view.b) taken.push(wave(edges, Y));
  }
  return taken.sort((a, b) => a[0] - b[0]);
}

function wave([begin, long, first, steps], Y) {
  let level = first, t = begin * EDGE;
  const end = (begin + long) * EDGE;
  stroke(ink.wave, 1.3); pen.beginPath(); pen.moveTo(X(t), Y(level));
  for (const step of steps) { t += step * EDGE; const x = X(t); pen.lineTo(x, Y(level)); level = 1 - level; pen.lineTo(x, Y(level)); }
  pen.lineTo(X(end), Y(level)); pen.stroke();
  return [begin * EDGE, end];
}

function volts([steps, values], Y) {
  let t = 0;
  const begin = steps[0] * EDGE;
  stroke(ink.wave, 1.3); pen.beginPath();
  values.forEach((v, n) => { t += steps[n] * EDGE; if (n) pen.lineTo(X(t), Y(v)); else pen.moveTo(X(t), Y(v)); });
  pen.stroke();
  return [begin, t];
}

/** A wave that is not in the page, drawn from the bytes that were read: dashed, so that nobody takes it for measured. */
function drawn(bits, Y) {
  const one = data.lines[0], low = Y(one.low), high = Y(one.unit ? one.low + 0.6 * (one.high - one.low) : one.high);
  let level = 0, t = bits.start;
  stroke(ink.soft, 1.2, [3, 2]); pen.beginPath(); pen.moveTo(X(t), low);
  for (const bit of bits.bits) {
    level = 1 - level; pen.lineTo(X(t), level ? high : low);
    if (bit === '1') { const m = X(t + bits.bit / 2); pen.lineTo(m, level ? high : low); level = 1 - level; pen.lineTo(m, level ? high : low); }
    t += bits.bit; pen.lineTo(X(t), level ? high : low);
  }
  pen.stroke();
  return [bits.start, t];
}

/** Bits, symbols and meaning under a wave, as far as there is room for each. */
function under({ start, bit, bits, first, spans }, bitWide) {
  const y = tops[0] + HEIGHT.cc;
  const from = Math.max(0, Math.floor((view.a - start) / bit)), to = Math.min(bits.length, Math.ceil((view.b - start) / bit));
  if (bitWide >= 8)
    for (let n = from; n < to; n++) {
      const x = X(start + n * bit);
      stroke(ink.rule, 0.6); line(x, tops[0], x, y + 14);
      words(bits[n], x + bitWide / 2, y + 13, undefined, ink.soft, false, 'center');
    }
  const bracket = (a, b, at) => { stroke(ink.soft, 1); pen.beginPath(); pen.moveTo(a + 1, at - 3); pen.lineTo(a + 1, at); pen.lineTo(b - 1, at); pen.lineTo(b - 1, at - 3); pen.stroke(); };
  if (bitWide >= 2.4)
    for (let n = first; n + 5 <= bits.length; n += 5) {
      const a = X(start + n * bit), b = X(start + (n + 5) * bit);
      if (b < left || a > wide) continue;
      bracket(a, b, y + 19);
      const name = symbolOf[bits.slice(n, n + 5)] || '?';
      // K-codes by their first and last sign where there is no room: S1 for Sync-1.
      words(name.length > 3 && b - a < 42 ? name[0] + name.slice(-1) : name, (a + b) / 2, y + 31, b - a, ink.ink, false, 'center');
    }
  let at = 0;
  for (const [text, count] of spans) {
    const a = X(start + at * bit), b = X(start + Math.min(at + count, bits.length) * bit);
    at += count;
    if (b < left || a > wide || b - a < 6) continue;
    bracket(Math.max(a, left), Math.min(b, wide), y + 37);
    words(text, Math.max(a, left) + 3, y + 50, Math.min(b, wide) - Math.max(a, left) - 4);
  }
}

function waitSpans() {
  const ends = new Array(WAITS).fill(-1e9);
  const { t, long, kind, over: overs, kinds } = data.waits;
  for (let i = 0; i < t.length; i++) {
    const a = t[i], b = a + long[i] * TICK, over = overs[i] === 1;
    if (b < view.a || a > view.b) continue;
    const x1 = X(a), x2 = X(b), [what, limit, allowed] = kinds[kind[i]];
    if (x2 - x1 < 6 && !over) continue;
    const text = what + ': ' + span(b - a) + ', ' + allowed;
    const row = ends.findIndex(end => end < Math.max(x1, left));
    if (row < 0) continue;
    const y = waitTop + row * WAIT + 18;
    stroke(over ? ink.bad : ink.ink, over ? 2 : 1.4);
    line(x1, y, x2, y); line(x1, y - 5, x1, y + 5); line(x2, y - 5, x2, y + 5);
    stroke(ink.ink, 3); line(X(a + limit), y - 7, X(a + limit), y + 7);
    const at = Math.max(x1, left) + 2;
    words(text, at, y - 9, wide - at);
    ends[row] = Math.max(x2, at + pen.measureText(text).width) + 10;
  }
}

function marks() {
  if (data.broke !== null && data.broke >= view.a && data.broke <= view.b) {
    const x = X(data.broke), bottom = height - 22;
    stroke(ink.bad, 2); pen.beginPath();
    for (let n = 0, y = 28; y <= bottom; n++, y += 8) { if (n) pen.lineTo(x + (n % 2 ? 4 : -4), y); else pen.moveTo(x - 4, y); }
    pen.stroke();
    words('broke here', x > wide - 90 ? x - 8 : x + 8, NAMES + LANE * lanes + 6, undefined, ink.bad, true, x > wide - 90 ? 'right' : 'left');
  }
  if (view.mark !== null && view.mark >= view.a && view.mark <= view.b) {
    stroke(ink.ink, 1.4, [2, 4]); line(X(view.mark), 20, X(view.mark), height - 22);
  }
}

function draw() {
  waiting = 0;
  const ratio = window.devicePixelRatio || 1, width = scope.clientWidth;
  if (!width) return;
  if (scope.width !== Math.round(width * ratio) || scope.height !== Math.round(height * ratio)) {
    scope.width = Math.round(width * ratio); scope.height = Math.round(height * ratio);
    scope.style.height = height + 'px';
  }
  wide = width; left = width > 620 ? 84 : 68;
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.setLineDash([]); pen.fillStyle = ink.paper; pen.fillRect(0, 0, wide, height);
  aside = [];
  pen.save(); pen.beginPath(); pen.rect(left, 0, wide - left, height); pen.clip();
  axis(); staff();
  data.lines.forEach((one, n) => curve(one, tops[n]));
  waitSpans(); marks();
  pen.restore(); pen.setLineDash([]);
  for (const [text, y, color, bold] of aside) words(text, left - 6, y, undefined, color, bold, 'right');
  scope.dataset.from = view.a; scope.dataset.to = view.b;
}

let saying = 0;
function redraw() {
  if (!waiting) waiting = requestAnimationFrame(draw);
  clearTimeout(saying);
  saying = setTimeout(say, 250);
}

function say() {
  let from = firstFrom(data.t, view.a);
  if (from > 0 && data.end[from - 1] > view.a) from--;
  const to = firstFrom(data.t, view.b), number = to - from;
  let text = 'Shown: ' + view.a.toFixed(6) + ' s to ' + view.b.toFixed(6) + ' s (' + span(view.b - view.a) + '), ' + number + (number === 1 ? ' packet' : ' packets') + '.';
  if (number > 0 && number <= 4)
    for (let i = from; i < to; i++) {
      const kind = data.kinds[data.kind[i]];
      text += ' ' + kind.name[0].toUpperCase() + kind.name.slice(1) + ' from ' + (kind.from > 2 ? 'an unknown sender' : 'the ' + data.parties[kind.from]) + (data.deaf.has(i) ? ', not acknowledged' : '') + '.';
      if (!data.edges[i] && bitsOf(i)) text += ' (Dashed: drawn from its bytes; its edges are not in this page.)';
    }
  document.getElementById('scope-says').textContent = text;
}

function show(a, b) {
  const long = Math.min(Math.max(b - a, LEAST), data.duration);
  view.a = Math.min(Math.max(0, (a + b - long) / 2), data.duration - long);
  view.b = view.a + long;
  redraw();
}
function zoom(by, around) {
  const t = around === undefined ? (view.a + view.b) / 2 : around;
  const long = Math.min(Math.max((view.b - view.a) * by, LEAST), data.duration);
  const share = (t - view.a) / (view.b - view.a);
  show(t - share * long, t + (1 - share) * long);
}
function pan(part) { const d = part * (view.b - view.a); const a = Math.min(Math.max(0, view.a + d), data.duration - (view.b - view.a)); show(a, a + view.b - view.a); }
function showMessage(i) {
  if (!(i in data.t)) return;
  const long = data.end[i] - data.t[i];
  view.mark = data.t[i];
  show(data.t[i] - 0.06 * long - 2e-5, data.end[i] + 0.06 * long + 2e-5);
}
function showMoment(t) {
  const { waits } = data, n = waits.t.findIndex(w => Math.abs(w - t) < 2e-3);
  const long = n >= 0 ? Math.max(waits.long[n] * TICK, waits.kinds[waits.kind[n]][1]) : 0.03;
  view.mark = t;
  show(t - 0.15 * long - 2e-3, t + 1.15 * long);
}
function step(way) {
  const middle = (view.a + view.b) / 2;
  let i = way > 0 ? firstFrom(data.t, middle) : firstFrom(data.t, middle) - 1;
  if (view.mark !== null) { const at = firstFrom(data.t, view.mark - 1e-9); if (data.t[at] >= view.a && data.t[at] <= view.b) i = at + way; }
  if (data.t.length) showMessage(Math.min(Math.max(0, i), data.t.length - 1));
}
