// The farm on the map: shapes, labels, themes of the zones, and what is shown or hidden.
var map = map_farm;
var groups = {}; // what can be shown or hidden, by id
var zoneLayers = {}, zoneLabels = {}, yardLayers = {}, yardLabels = {};
var ROUND = 1e-9;

var LOOKS = {
  property: { color: '#14120c', weight: 2, dashArray: '10 4 2 4', fill: false },
  trees: { color: '#3f5a30', weight: 1, fillColor: '#6f8a5c', fillOpacity: 0.75, motif: 'dots' },
  buildings: { color: '#4a2f25', weight: 1, fillColor: '#a07a66', fillOpacity: 0.95, motif: 'plain' },
  dwellings: { color: '#4a2f25', weight: 1, fillColor: '#d0a28a', fillOpacity: 0.95, motif: 'cross' },
  roads: { color: '#5c574b', weight: 5, fill: false },
  water: { color: '#2f6f9f', weight: 3, fillColor: '#86b0cf', fillOpacity: 0.8, motif: 'lines' },
  overhead_lines: { color: '#a11d3a', weight: 3, dashArray: '9 5', fill: false },
  culverts: { color: '#2f6f9f', weight: 5, dashArray: '2 4', fill: false },
  gates: { color: '#1f2f4d', weight: 3 },
  wells: { color: '#1f4f6d', weight: 3 },
  no_go: { color: '#8b1a2f', weight: 3, fillColor: '#e3b7bf', fillOpacity: 0.8, motif: 'cross' }
};
var SYMBOLS = {
  gates: 'M2 18V6M18 18V6M2 8h16M2 14h16M2 14L18 8',
  wells: 'M10 3a7 7 0 1 0 .01 0M10 7a3 3 0 1 0 .01 0',
  dwellings: 'M3 18V9l7-6 7 6v9z', buildings: 'M3 17V7h14v10z', pin: 'M10 19L4 9a6.5 6.5 0 1 1 12 0z',
  other: 'M10 3l7 7-7 7-7-7z'
};

['ground', 'fields', 'zones', 'around', 'hauls', 'yards', 'marks'].forEach(function (name, k) {
  map.createPane(name).style.zIndex = 410 + 20 * k;
});
function symbol(kind) {
  return makeSvg('svg', { viewBox: '0 0 20 20', width: 20, height: 20 }, makeSvg('path', { d: SYMBOLS[kind] || SYMBOLS.other }));
}

function labelAt(at, text, kind, below) {
  var inner = make('span', {}, text);
  if (below !== undefined) { inner.append(make('br'), make('small', {}, below)); }
  return L.marker([at[1], at[0]], {
    icon: L.divIcon({ html: inner, className: 'label label-' + kind, iconSize: null }), interactive: false, keyboard: false, pane: 'marks'
  });
}

// a coded shape as a Leaflet layer
function drawn(code, look, pane, kind) {
  var style = Object.assign({ pane: pane, interactive: false }, look);
  if (look.fillColor && look.motif) { style.fillColor = patterned(look.fillColor, look.motif); }
  var parts = code.slice(1);
  if (code[0] === 'P') {
    return L.polygon(parts.map(function (rings) { return rings.map(unrolled); }), style);
  }
  if (code[0] === 'L') { return L.polyline(parts.map(unrolled), Object.assign(style, { fill: false })); }
  return L.layerGroup(parts.map(function (steps) {
    return L.marker(unrolled(steps)[0], {
      icon: L.divIcon({ html: symbol(kind), className: 'symbol symbol-' + kind, iconSize: [24, 24] }),
      interactive: false, keyboard: false, pane: 'marks'
    });
  }));
}

// let the keyboard reach a shape, and say its name to a screen reader
function reachable(layer, name, open) {
  layer.on('click', function (event) {
    if (drawing) { return; } // the touch sets a corner instead
    L.DomEvent.stopPropagation(event);
    open(event.latlng);
  });
  layer.on('add', function () {
    var element = layer.getElement();
    element.setAttribute('tabindex', '0');
    element.setAttribute('role', 'button');
    element.setAttribute('aria-label', name);
    if (element.dataset.reachable) { return; }
    element.dataset.reachable = 'yes';
    element.addEventListener('keydown', function (event) {
      if (event.key === 'Enter' || event.key === ' ') {
        event.preventDefault();
        event.stopPropagation();
        open(null);
      }
    });
  });
}

var THEMES = {
  take: {
    title: 'what would leave', ramp: 'straw', kind: 'rate',
    value: function (z) { return z.take; }
  },
  limit: { title: 'what may leave', ramp: 'straw', kind: 'rate', value: function (z) { return z.limit; } },
  rule: {
    title: 'what sets the limit', classes: function () {
      return Object.assign({}, plan.rules, { method: 'The way of gathering takes less than may leave' });
    }, value: function (z) { return z.rule; }
  },
  method: { title: 'way of gathering', classes: function () { return plan.methods; }, value: function (z) { return z.method; } },
  odds: { title: 'how sure it is', ramp: 'straw', kind: 'share', value: function (z) { return z.odds; } },
  none: { title: 'nothing (outline only)' }
};
var theme = 'take';

function spread(values) {
  var known = values.filter(function (v) { return v !== null && v !== undefined; });
  return known.length ? [Math.min.apply(null, known), Math.max.apply(null, known)] : [0, 0];
}

// masses start at nothing, so that small differences look small; shares span what there is
function zoneEnds(how) {
  if (how.kind === 'rate') { return [0, spread(plan.zones.map(how.value))[1]]; }
  return spread(plan.zones.filter(function (z) { return z.method !== 'leave'; }).map(how.value));
}

// the classes that zones have, in the order of the list, others after
function usedClasses(how) {
  var used = plan.zones.map(how.value), known = Object.keys(how.classes());
  return known.filter(function (n) { return used.indexOf(n) >= 0; }).concat(
    used.filter(function (n, k) { return known.indexOf(n) < 0 && used.indexOf(n) === k; }));
}

function zoneLook(zone) {
  var how = THEMES[theme], value = how.value ? how.value(zone) : null;
  var look = { color: '#2a2618', weight: 1.5, fillOpacity: 0.78, opacity: 1 };
  if (theme === 'none') { return Object.assign(look, { fillOpacity: 0.01, fillColor: '#ffffff' }); }
  if (zone.method === 'leave' && theme !== 'rule') {
    return Object.assign(look, { fillColor: patterned('#f6f4ec', 'hatch') });
  }
  if (value === null || value === undefined) { return Object.assign(look, { fillColor: patterned('#ffffff', 'dots') }); }
  if (how.classes) {
    var k = Math.max(0, usedClasses(how).indexOf(value)) % CLASSES.length;
    return Object.assign(look, { fillColor: patterned(CLASSES[k][0], CLASSES[k][1]) });
  }
  var ends = zoneEnds(how);
  var share = ends[1] - ends[0] > ROUND ? (value - ends[0]) / (ends[1] - ends[0]) : 0.5;
  return Object.assign(look, { fillColor: hex(mixed(RAMPS[how.ramp], share)) });
}

// the number or word behind a zone's colour, written on the zone
function zoneWord(zone) {
  var how = THEMES[theme], value = how.value ? how.value(zone) : null;
  if (zone.method === 'leave' && theme !== 'rule') { return 'leave'; }
  if (theme === 'none') { return ''; }
  return how.classes ? how.classes()[value] || String(value) : quantity(how.kind, value);
}

function relabelZones() {
  plan.zones.forEach(function (zone) {
    var label = zoneLabels[zone.id].getElement();
    if (label) { label.querySelector('small').textContent = zoneWord(zone); }
  });
  clearLabels();
}

function zoneLegend() {
  var how = THEMES[theme], list = make('ul', { class: 'key' });
  if (theme === 'none') { return list; }
  if (how.classes) {
    var classes = how.classes();
    usedClasses(how).forEach(function (name, k) {
      var look = CLASSES[k % CLASSES.length];
      list.append(swatch(name === 'leave' ? patterned('#f6f4ec', 'hatch') : patterned(look[0], look[1]), classes[name] || name));
    });
    return list;
  }
  var ends = zoneEnds(how);
  list = ends[1] - ends[0] > ROUND ? rampLegend(how.ramp, how.kind, ends[0], ends[1])
    : make('ul', { class: 'key' }, swatch(hex(mixed(RAMPS[how.ramp], 0.5)), quantity(how.kind, ends[0])));
  if (plan.zones.some(function (z) { return z.method === 'leave'; })) {
    list.append(swatch(patterned('#f6f4ec', 'hatch'), 'leave: no baling'));
  }
  return list;
}

function group(id, title, layers, shown) {
  groups[id] = { title: title, layer: L.featureGroup(layers), shown: shown };
  if (shown) { groups[id].layer.addTo(map); }
}

function drawFarm() {
  group('fields', 'Fields', plan.fields.map(function (f) {
    return drawn(f.shape, { color: '#14120c', weight: 3, fill: false }, 'fields');
  }), true);
  group('zones', 'Zones', plan.zones.map(function (zone) {
    var layer = drawn(zone.shape, Object.assign(zoneLook(zone), { interactive: true }), 'zones');
    zoneLayers[zone.id] = layer;
    reachable(layer, 'Zone ' + zone.id + ', ' + zone.bales + ' bales. Open details.', function (at) { openZone(zone.id, at); });
    return layer;
  }), true);
  group('zone-labels', 'Names of zones', plan.zones.map(function (zone) {
    zoneLabels[zone.id] = labelAt(zone.at, zone.id, 'zone', zoneWord(zone));
    return zoneLabels[zone.id];
  }), true);
  plan.around.forEach(function (kind) {
    var look = LOOKS[kind.id] || { color: '#3a362b', weight: 2, fillColor: '#cbc4ae', fillOpacity: 0.6, motif: 'dots' };
    group(kind.id, kind.title, kind.things.map(function (t) { return drawn(t.shape, look, 'around', kind.id); }), true);
  });
  var ways = plan.hauls.map(function (h) { // light beneath dark, so that a way shows on any colour
    return drawn(h.shape, { color: '#ffffff', weight: 5, opacity: 0.8, fill: false }, 'hauls');
  });
  plan.hauls.forEach(function (h) {
    ways.push(drawn(h.shape, { color: '#1f3a5f', weight: 2.5, dashArray: '2 6', fill: false }, 'hauls'));
  });
  group('hauls', 'Ways from zone to yard', ways, true);
  group('yards', 'Yards with their rows', [].concat.apply([], plan.yards.map(function (yard) {
    var outline = drawn(yard.shape, { color: '#1f2f4d', weight: yard.bales ? 3 : 2, dashArray: yard.bales ? null : '5 4',
      fillColor: '#ffffff', fillOpacity: 1, interactive: true }, 'yards');
    yardLayers[yard.id] = outline;
    reachable(outline, 'Yard ' + yard.id + ', ' + yard.bales + ' bales. Open details.', function (at) { openYard(yard.id, at); });
    var rows = yard.rows.map(function (code) {
      return drawn(code, { color: '#3d2610', weight: 0.7, fillColor: yard.bales ? '#8a5a2b' : '#d8c7ae', fillOpacity: 1 }, 'yards');
    });
    return [outline].concat(rows);
  })), true);
  group('yard-labels', 'Names of yards', plan.yards.map(function (yard) {
    yardLabels[yard.id] = labelAt(yard.at, yard.id, yard.bales ? 'yard' : 'spare');
    return yardLabels[yard.id];
  }), true);
  fitFarm();
}

function fitFarm() {
  var bounds = groups.fields.layer.getBounds();
  if (plan.yards.length) { bounds.extend(groups.yards.layer.getBounds()); }
  map.fitBounds(bounds.isValid() ? bounds : [[0, 0], [plan.frame.height, plan.frame.width]], { animate: false, padding: [14, 14] });
}

// where names would lie over each other the less important one waits until the reader comes nearer
function clearLabels() {
  var taken = [];
  var wanted = plan.yards.map(function (y) { return [y.bales ? 2e9 : -1, yardLabels[y.id]]; }).concat(
    plan.zones.map(function (z) { return [z.area, zoneLabels[z.id]]; }));
  wanted.sort(function (a, b) { return b[0] - a[0]; }).forEach(function (pair) {
    var element = pair[1].getElement();
    if (!element) { return; }
    element.classList.remove('waits');
    var box = element.firstElementChild.getBoundingClientRect();
    var meets = taken.some(function (t) {
      return box.left < t.right && box.right > t.left && box.top < t.bottom && box.bottom > t.top;
    });
    element.classList.toggle('waits', meets);
    if (!meets) { taken.push(box); }
  });
}

function restyleZones() {
  plan.zones.forEach(function (zone) { zoneLayers[zone.id].setStyle(zoneLook(zone)); });
  relabelZones();
}

var groundOverlay = null, groundShown = '';
function showGround(id) {
  groundShown = id;
  if (groundOverlay) { groundOverlay.remove(); groundOverlay = null; }
  var layer = plan.rasters.find(function (r) { return r.id === id; });
  if (!layer) { drawLegend(); return Promise.resolve(); }
  return unpack(layer).then(function (cells) {
    if (groundShown !== id) { return; } // another was chosen meanwhile
    groundOverlay = L.imageOverlay(paint(layer, cells), groundBounds(), { pane: 'ground', className: 'ground', alt: '' }).addTo(map);
    drawLegend();
  }).catch(function (error) { tell(error.message); });
}
