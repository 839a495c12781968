// Our own palette, each color with its own pattern, so that nothing hangs on color alone.
var RAMPS = {
  straw: ['#f8f1d8', '#efd993', '#dfb75a', '#c28f3c', '#9b672b', '#6f431d'],
  earth: ['#f4f1ee', '#d9cfc9', '#b5a39c', '#8d7670', '#644f4b', '#3b2c2a'],
  water: ['#f2f5f7', '#c3d7e6', '#86b0cf', '#4a84b0', '#235a87', '#0f3156'],
  water_low: ['#0f3156', '#235a87', '#4a84b0', '#86b0cf', '#c3d7e6', '#f2f5f7'],
  sun: ['#3b2a52', '#6b4a6f', '#a46d73', '#d59a6c', '#efca80', '#fbf3c4']
};
var CLASSES = [
  ['#efe3b8', 'plain'], ['#8fb3c9', 'hatch'], ['#d8a36a', 'dots'], ['#a9c08a', 'lines'],
  ['#b7a0c6', 'cross'], ['#c9c5ba', 'back'], ['#c98795', 'grid'], ['#87a596', 'dense']
];
var MOTIFS = {
  plain: [], hatch: ['M0 8L8 0'], back: ['M0 0L8 8'], lines: ['M4 0V8'], cross: ['M0 8L8 0', 'M0 0L8 8'],
  grid: ['M4 0V8', 'M0 4H8'], dots: ['M3 4h2'], dense: ['M1 0V8', 'M5 0V8', 'M0 2H8']
};

function mixed(ramp, share) {
  var at = Math.min(1, Math.max(0, share)) * (ramp.length - 1), k = Math.min(ramp.length - 2, Math.floor(at)), t = at - k;
  var a = parseInt(ramp[k].slice(1), 16), b = parseInt(ramp[k + 1].slice(1), 16);
  return [16, 8, 0].map(function (s) {
    var low = (a >> s) & 255, high = (b >> s) & 255;
    return Math.round(low + (high - low) * t);
  });
}

function hex(rgb) {
  return '#' + rgb.map(function (c) { return c.toString(16).padStart(2, '0'); }).join('');
}

// a fill for SVG: plain color, or url(#...) of a pattern made on first use
var madePatterns = {};
function patterned(color, motif) {
  if (motif === 'plain') { return color; }
  var id = 'pat-' + motif + '-' + color.slice(1);
  if (!madePatterns[id]) {
    madePatterns[id] = true;
    var pattern = makeSvg('pattern', { id: id, width: 8, height: 8, patternUnits: 'userSpaceOnUse' },
      makeSvg('rect', { width: 8, height: 8, fill: color }));
    MOTIFS[motif].forEach(function (d) {
      pattern.append(makeSvg('path', { d: d, fill: 'none', stroke: '#2a2618', 'stroke-width': motif === 'dots' ? 2.2 : 1 }));
    });
    byId('patterns').append(pattern);
  }
  return 'url(#' + id + ')';
}

// the same motifs for pictures drawn cell by cell
function inked(motif, x, y) {
  var u = x % 8, v = y % 8;
  switch (motif) {
    case 'hatch': return (u + v) % 8 === 0;
    case 'back': return (u - v + 8) % 8 === 0;
    case 'lines': return u === 4;
    case 'cross': return (u + v) % 8 === 0 || (u - v + 8) % 8 === 0;
    case 'grid': return u === 4 || v === 4;
    case 'dots': return u > 2 && u < 5 && v > 2 && v < 5;
    case 'dense': return u % 4 === 1 || v === 2;
    default: return false;
  }
}

function swatch(fillWith, label) {
  return make('li', {}, makeSvg('svg', { width: 26, height: 18, 'aria-hidden': 'true' },
    makeSvg('rect', { x: 1, y: 1, width: 24, height: 16, fill: fillWith, stroke: '#2a2618' })), label);
}

function rampLegend(rampName, kind, low, high) {
  var list = make('ul', { class: 'key' }), how = plan.systems[units].kinds[kind];
  // enough decimals that neighbors differ
  var step = Math.abs(high - low) * how.factor / (RAMPS[rampName].length - 1);
  var places = step > 0 ? Math.min(3, Math.max(how.decimals, Math.ceil(-Math.log10(step)))) : how.decimals;
  RAMPS[rampName].forEach(function (color, k) {
    list.append(swatch(color, quantity(kind, low + (high - low) * k / (RAMPS[rampName].length - 1), places)));
  });
  return list;
}
