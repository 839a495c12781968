// The data island, numbers in the reader's units, and elements made without any markup from data.
var plan = JSON.parse(document.getElementById('plan-data').textContent);
var units = plan.units;

function byId(id) { return document.getElementById(id); }

// the number alone, as stovergeo.core.printing prints it: converted, rounded (a true half to even), thousands marked
function number(kind, value, places) {
  if (!Number.isFinite(value)) { return plan.unknown; }
  var how = plan.systems[units].kinds[kind], shown = value * how.factor + how.offset, size = Math.abs(shown);
  if (places === undefined) { places = how.decimals; }
  var scale = Math.pow(10, places), half = (size * scale) % 1 === 0.5 && (size * Math.pow(2, places + 1)) % 1 === 0;
  var text = (half ? 2 * Math.round(size * scale / 2) / scale : size).toFixed(places);
  if (how.trimmed) { text = text.replace(/\.?0+$/, ''); }
  var whole = text.split('.')[0].replace(/\B(?=(\d{3})+$)/g, ',');
  return (shown < 0 && Number(text) !== 0 ? '-' : '') + whole + text.slice(text.split('.')[0].length);
}

function quantity(kind, value, places) {
  var text = number(kind, value, places), how = plan.systems[units].kinds[kind], label = how.label;
  if (text === plan.unknown || !label) { return text; }
  if (label.charAt(0) === '$') { return (text.charAt(0) === '-' ? '-' : '') + plan.money + text.replace('-', '') + label.slice(1); }
  if (label === '%') { return text + '%'; }
  return text + ' ' + (text.replace('-', '') === '1' ? how.one : label);
}

// a text of the data, with its values put in
function message(key, values) {
  return plan.messages[key].replace(/\{(\w+)\}/g, function (field, name) { return values[name]; });
}

// "12 bales" is more than a number: no quantity, but one of a thing is not many
function bales(count) { return message(count === 1 ? 'bale' : 'bales', { count: number('count', count) }); }

// a text is a string, or a list of strings and of {system: string}; no line breaks between a number and its unit
function inUnits(parts) {
  if (typeof parts === 'string') { return parts; }
  return parts.map(function (p) { return typeof p === 'string' ? p : p[units].replace(/(\d) /g, '$1\u00a0'); }).join('');
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

// whole steps, each from the point before, back to [north, east] in meters
function unrolled(steps) {
  var x = 0, y = 0, line = [];
  for (var i = 0; i < steps.length; i += 2) {
    x += steps[i];
    y += steps[i + 1];
    line.push([y * plan.frame.step, x * plan.frame.step]);
  }
  return line;
}

// meters of the page to [longitude, latitude]
function toLonLat(point) {
  var fit = plan.lonlat;
  var u = (point.lng - fit.center[0]) / fit.half, v = (point.lat - fit.center[1]) / fit.half;
  var lon = 0, lat = 0;
  fit.powers.forEach(function (power, k) {
    var term = Math.pow(u, power[0]) * Math.pow(v, power[1]);
    lon += fit.lon[k] * term;
    lat += fit.lat[k] * term;
  });
  return [Number(lon.toFixed(7)), Number(lat.toFixed(7))];
}
