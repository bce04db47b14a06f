'use strict';
// The page's data, unfolded: columns of small numbers back to times.
const TICK = 1e-7, EDGE = 1e-8;
const data = JSON.parse(document.getElementById('data').textContent);

function running(steps, unit) {
  const out = new Float64Array(steps.length);
  let sum = 0;
  for (let i = 0; i < steps.length; i++) { sum += steps[i]; out[i] = sum * unit; }
  return out;
}

data.t = running(data.start, TICK);
data.end = data.t.map((t, i) => t + data.length[i] * TICK);
data.bursts = Float64Array.from(data.bursts, t => t * TICK);
for (const one of data.contracts) { one[0] *= TICK; one[1] *= TICK; }
data.waits.t = running(data.waits.t, TICK);
data.deaf = new Set(data.unheard);
for (const line of data.lines) {
  line.layers = line.layers.map(([start, end, count, runs]) => {
    const low = new Float64Array(count), high = new Float64Array(count);
    let at = 0;
    for (let i = 0; i < runs.length; i += 3) {
      low.fill(runs[i + 1], at, at + runs[i]);
      high.fill(runs[i + 2], at, at + runs[i]);
      at += runs[i];
    }
    return { start, end, step: (end - start) / count, low, high };
  }).sort((a, b) => a.step - b.step);
}

/** Index of the first of the ascending times that is not below t. */
function firstFrom(times, t) {
  let a = 0, b = times.length;
  while (a < b) { const m = (a + b) >> 1; if (times[m] < t) a = m + 1; else b = m; }
  return a;
}

function crc32(bytes) {
  let crc = -1;
  for (const b of bytes) {
    crc ^= b;
    for (let k = 0; k < 8; k++) crc = (crc >>> 1) ^ (crc & 1 ? 0xEDB88320 : 0);
  }
  return ~crc >>> 0;
}

/** The bits of message i from its preamble on: {start, bit, bits, first, spans}; null where they are not in the page. */
function bitsOf(i) {
  const kind = data.kinds[data.kind[i]], code = data.code;
  if (data.read[i]) {
    const [start, bit, bits, first] = data.read[i];
    return { start, bit, bits, first, spans: kind.problem ? [[kind.problem, bits.length]] : [] };
  }
  if (kind.hex === undefined || !code.sets[kind.set]) return null;
  const before = data.preamble[i] ?? 64;
  let bits = '';
  for (let n = 0; n < before; n++) bits += (n + before) % 2;
  bits += code.sets[kind.set];
  const spans = [['preamble', before], [kind.set, 20]];
  if (kind.hex) {
    const bytes = kind.hex.match(/../g).map(x => parseInt(x, 16));
    const crc = crc32(bytes);
    for (const b of [...bytes, crc & 255, crc >>> 8 & 255, crc >>> 16 & 255, crc >>> 24])
      bits += code.data[b & 15] + code.data[b >> 4];
    bits += code.eop;
    for (const [words, size] of kind.spans || []) spans.push([words, 10 * size]);
    spans.push(['CRC', 40], ['EOP', 5]);
  }
  return { start: data.t[i], bit: (data.end[i] - data.t[i]) / bits.length, bits, first: before, spans };
}

const symbolOf = {};
data.code.data.forEach((bits, n) => { symbolOf[bits] = n.toString(16).toUpperCase(); });
Object.assign(symbolOf, data.code.k);

/** A length of time in words. */
function span(s) {
  const a = Math.abs(s);
  if (a >= 1) return +s.toPrecision(3) + ' s';
  if (a >= 1e-3) return +(s * 1e3).toPrecision(3) + ' ms';
  return a >= 1e-6 ? +(s * 1e6).toPrecision(3) + ' µs' : Math.round(s * 1e9) + ' ns';
}
