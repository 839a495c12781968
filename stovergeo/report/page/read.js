// The data island, numbers in the reader's units, and elements made without any markup from data.
var plan = JSON.parse(document.getElementById('plan-data').textContent);
var units = plan.units;

function byId(id) { return document.getElementById(id); }

function formatted(kind, value, places) {
  var how = plan.kinds[kind][units];
  if (value === null || value === undefined || Number.isNaN(value)) { return 'unknown'; }
  return (value * how[0] + how[3]).toLocaleString('en-US', { minimumFractionDigits: places, maximumFractionDigits: places });
}

function unitOf(kind) { return plan.kinds[kind][units][1]; }

// with a given number of decimals
function fixed(kind, value, places) {
  var number = formatted(kind, value, places), unit = unitOf(kind);
  if (number === 'unknown') { return number; }
  if (unit.charAt(0) === '$') { return '$' + number + unit.slice(1); }
  return number + (unit === '%' || unit === '' ? '' : '\u00a0') + unit;
}

// with the usual decimals, or as many as the number had where it was written in SI
function quantity(kind, value, decimals, withUnit) {
  var how = plan.kinds[kind][units], places = how[2];
  if (decimals !== undefined) { places = Math.max(0, decimals + (how[0] >= 2 ? -1 : how[0] <= 0.1 ? 1 : 0)); }
  return withUnit === 0 ? formatted(kind, value, places) : fixed(kind, value, places);
}

// a text is a string or a list of strings and quantities
function say(parts) {
  if (typeof parts === 'string') { return parts; }
  return parts.map(function (p) { return typeof p === 'string' ? p : quantity(p.k, p.v, p.d, p.u); }).join('');
}

// make('p', {class: 'small'}, 'text', element, ...): strings become text nodes, never markup
function make(tag, attributes) {
  var element = document.createElement(tag);
  Object.keys(attributes || {}).forEach(function (name) { element.setAttribute(name, attributes[name]); });
  Array.prototype.slice.call(arguments, 2).forEach(function (child) {
    if (child !== null && child !== undefined) { element.append(child); }
  });
  return element;
}

function makeSvg(tag, attributes) {
  var element = document.createElementNS('http://www.w3.org/2000/svg', tag);
  Object.keys(attributes || {}).forEach(function (name) { element.setAttribute(name, attributes[name]); });
  Array.prototype.slice.call(arguments, 2).forEach(function (child) { element.append(child); });
  return element;
}

function fill(element, children) {
  element.replaceChildren.apply(element, children);
}

// whole steps, each from the point before, back to [north, east] in metres
function unrolled(steps) {
  var x = 0, y = 0, line = [];
  for (var i = 0; i < steps.length; i += 2) {
    x += steps[i];
    y += steps[i + 1];
    line.push([y * plan.frame.step, x * plan.frame.step]);
  }
  return line;
}

// metres of the page to [longitude, latitude]
function toLonLat(point) {
  var way = plan.lonlat;
  var u = (point.lng - way.centre[0]) / way.half, v = (point.lat - way.centre[1]) / way.half;
  var lon = 0, lat = 0;
  way.powers.forEach(function (power, k) {
    var term = Math.pow(u, power[0]) * Math.pow(v, power[1]);
    lon += way.lon[k] * term;
    lat += way.lat[k] * term;
  });
  return [Number(lon.toFixed(7)), Number(lat.toFixed(7))];
}
