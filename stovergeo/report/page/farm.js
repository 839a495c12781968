// The farm on the map: its shapes, and what is shown or hidden.
var map = map_farm;
var groups = {}; // what can be shown or hidden, by id
var zoneLayers = {}, yardLayers = {};

var LOOKS = {
  property: { color: '#14120c', weight: 2, dashArray: '10 4 2 4', fill: false },
  trees: { color: '#3f5a30', weight: 1, fillColor: '#6f8a5c', fillOpacity: 0.75, motif: 'dots' },
  buildings: { color: '#4a2f25', weight: 1, fillColor: '#a07a66', fillOpacity: 0.95, motif: 'plain' },
  dwellings: { color: '#4a2f25', weight: 1, fillColor: '#d0a28a', fillOpacity: 0.95, motif: 'cross' },
  roads: { color: '#5c574b', weight: 5, fill: false },
  water: { color: '#2f6f9f', weight: 3, fillColor: '#86b0cf', fillOpacity: 0.8, motif: 'lines', edge: true },
  overhead_lines: { color: '#a11d3a', weight: 3, dashArray: '9 5', fill: false, edge: true },
  culverts: { color: '#2f6f9f', weight: 5, dashArray: '2 4', fill: false, edge: true },
  gates: { color: '#1f2f4d', weight: 3 },
  wells: { color: '#1f4f6d', weight: 3 },
  hauls: { color: '#1f3a5f', weight: 2.5, dashArray: '2 6', fill: false },
  no_go: { color: '#8b1a2f', weight: 3, fillColor: '#e3b7bf', fillOpacity: 0.8, motif: 'cross' }
};
var SYMBOLS = {
  gates: 'M2 18V6M18 18V6M2 8h16M2 14h16M2 14L18 8',
  wells: 'M10 3a7 7 0 1 0 .01 0M10 7a3 3 0 1 0 .01 0',
  dwellings: 'M3 18V9l7-6 7 6v9z', buildings: 'M3 17V7h14v10z', pin: 'M10 19L4 9a6.5 6.5 0 1 1 12 0z',
  other: 'M10 3l7 7-7 7-7-7z'
};

['ground', 'fields', 'zones', 'clear', 'around', 'hauls', 'before', 'yards', 'marks'].forEach(function (name, k) {
  map.createPane(name).style.zIndex = 410 + 20 * k;
});

function symbol(kind) {
  return makeSvg('svg', { viewBox: '0 0 20 20', width: 20, height: 20 }, makeSvg('path', { d: SYMBOLS[kind] || SYMBOLS.other }));
}

// a coded shape as a Leaflet layer
function drawn(code, look, pane, kind) {
  var style = Object.assign({ pane: pane, interactive: false }, look);
  if (look.fillColor && look.motif) { style.fillColor = patterned(look.fillColor, look.motif); }
  var parts = code.slice(1);
  if (code[0] === 'P') {
    return L.polygon(parts.map(function (rings) { return rings.map(unrolled); }), style);
  }
  if (code[0] === 'L') {
    var line = L.polyline(parts.map(unrolled), Object.assign(style, { fill: false }));
    return look.edge ? L.layerGroup([paleEdge(code, look, pane), line]) : line;
  }
  return L.layerGroup(parts.map(function (steps) {
    return L.marker(unrolled(steps)[0], {
      icon: L.divIcon({ html: symbol(kind), className: 'symbol symbol-' + kind, iconSize: [24, 24] }),
      interactive: false, keyboard: false, pane: 'marks'
    });
  }));
}

// light beneath dark, so that a line shows on any color
function paleEdge(code, look, pane) {
  return L.polyline(code.slice(1).map(unrolled), { pane: pane, interactive: false, color: '#ffffff', weight: look.weight + 2.5, opacity: 0.8, fill: false });
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

function group(id, title, layers, shown) {
  if (!layers.length) { return; }
  groups[id] = { title: title, layer: L.featureGroup(layers), shown: shown };
  if (shown) { groups[id].layer.addTo(map); }
}

function drawFarm() {
  group('fields', message('fields'), plan.fields.map(function (f) {
    return drawn(f.shape, { color: '#14120c', weight: 3, fill: false }, 'fields');
  }), true);
  drawKeptClear();
  group('zones', message('zones'), plan.zones.map(function (zone) {
    var layer = drawn(zone.shape, Object.assign(zoneLook(zone), { interactive: true }), 'zones');
    zoneLayers[zone.id] = layer;
    reachable(layer, message('open_zone', { zone: zone.id, bales: zone.bales === null ? plan.unknown : bales(zone.bales) }), function (at) { openZone(zone.id, at); });
    return layer;
  }), true);
  fieldLabels = plan.fields.map(function (f) { return labelAt(f.at, shortName(f.name), 'field'); });
  group('field-labels', message('names_of_fields'), fieldLabels, true);
  group('zone-labels', message('names_of_zones'), plan.zones.map(function (zone) {
    zoneLabels[zone.id] = labelAt(zone.at, zone.id, 'zone', zoneText(zone));
    return zoneLabels[zone.id];
  }), true);
  plan.around.forEach(function (kind) {
    var look = LOOKS[kind.id] || { color: '#3a362b', weight: 2, fillColor: '#cbc4ae', fillOpacity: 0.6, motif: 'dots' };
    group('around-' + kind.id, kind.title, kind.things.map(function (t) { return drawn(t.shape, look, 'around', kind.id); }), true);
  });
  var edges = plan.hauls.map(function (h) { return paleEdge(h.shape, LOOKS.hauls, 'hauls'); });
  group('hauls', message('routes'), edges.concat(plan.hauls.map(function (h) { return drawn(h.shape, LOOKS.hauls, 'hauls'); })), true);
  drawYards();
  fitFarm();
  drawTiles();
}

function fitFarm() {
  var bounds = groups.fields.layer.getBounds();
  if (groups.yards) { bounds.extend(groups.yards.layer.getBounds()); }
  map.fitBounds(bounds.isValid() ? bounds : [[0, 0], [plan.frame.height, plan.frame.width]],
    { animate: false, paddingTopLeft: [14, 40], paddingBottomRight: [14, 14] }); // a yard's name stands above it
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
