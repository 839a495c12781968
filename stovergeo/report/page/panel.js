// The panel, the legend, the scale bar and the north arrow.
var panelShown = null; // how to draw the panel again when the units change
var cameFrom = null;

function openPanel(title, makeBody) {
  panelShown = function () {
    byId('panel-title').textContent = title;
    fill(byId('panel-body'), makeBody());
  };
  panelShown();
  if (byId('panel').hidden) { cameFrom = document.activeElement; }
  byId('panel').hidden = false;
  byId('panel').scrollTop = 0;
  byId('panel-title').focus({ preventScroll: true });
}

function closePanel() {
  byId('panel').hidden = true;
  panelShown = null;
  if (cameFrom && cameFrom.isConnected) { cameFrom.focus({ preventScroll: true }); }
}

function groundTable(at, place) {
  readGround(at).then(function (rows) {
    if (rows.length) {
      place.append(blockMakers.table({ caption: message('ground_here'), head: [message('what'), message('here')], rows: rows }));
    }
  }).catch(function (error) { place.append(make('p', {}, error.message)); });
}

function openZone(id, at) {
  var zone = plan.zones.find(function (z) { return z.id === id; });
  var field = plan.fields.find(function (f) { return f.id === zone.field; });
  openPanel(field ? message('zone_of', { zone: id, field: field.name }) : message('zone', { zone: id }), function () {
    var parts = [drawBlocks(zone.panel)];
    if (at) {
      var here = make('div');
      groundTable(at, here);
      parts.push(here);
    }
    return parts;
  });
}

function openYard(id) {
  var yard = plan.yards.find(function (y) { return y.id === id; });
  openPanel(message('yard', { yard: id }), function () { return [answerButtons(yard), drawBlocks(yard.panel)]; });
}

function openPlace(at) {
  openPanel(message('this_place'), function () {
    var here = make('div');
    groundTable(at, here);
    var degrees = toLonLat(at);
    return [make('p', { class: 'small' }, message('place', {
      latitude: degrees[1].toFixed(5), longitude: degrees[0].toFixed(5), size: quantity('length', plan.grid.cell)
    })), here];
  });
}

function drawLegend() {
  var parts = [];
  if (theme !== 'none') {
    parts.push(make('div', {}, make('h3', {}, message('zones_by', { theme: THEMES[theme].title })), zoneLegend()));
  }
  var layer = plan.rasters.find(function (r) { return r.id === groundShown; });
  if (layer) {
    parts.push(make('div', {}, make('h3', {}, message('ground', { layer: layer.title })), layer.tells ? make('p', { class: 'small' }, layer.tells) : null, groundLegend(layer)));
  }
  if (groups['kept-clear'] && map.hasLayer(groups['kept-clear'].layer)) {
    parts.push(make('div', {}, make('h3', {}, message('kept_clear')), clearLegend()));
  }
  var list = make('ul', { class: 'key' });
  if (plan.yards.some(function (y) { return y.bales; })) { list.append(swatch('#8a5a2b', message('rows'))); }
  if (plan.yards.some(function (y) { return !y.bales; })) { list.append(swatch('#d8c7ae', message('rows_unused'))); }
  ['lanes', 'apron'].forEach(function (part) {
    if (plan.yards.some(function (y) { return y[part].length; })) {
      list.append(make('li', {}, keySymbol(part), message(part)));
    }
  });
  if (plan.before.length) { list.append(make('li', {}, keySymbol('before'), message('before'))); }
  plan.around.forEach(function (kind) {
    list.append(make('li', {}, keySymbol(kind.id), kind.title));
  });
  if (plan.hauls.length) { list.append(make('li', {}, keySymbol('hauls'), message('route'))); }
  if (list.children.length) { parts.push(make('div', {}, make('h3', {}, message('signs')), list)); }
  fill(byId('legend'), parts);
}

function keySymbol(kind) {
  var look = LOOKS[kind] || YARD_LOOKS[kind] || { color: '#3a362b', weight: 2, fillColor: '#cbc4ae', motif: 'dots' };
  var box = makeSvg('svg', { width: 26, height: 18, 'aria-hidden': 'true' });
  if (kind === 'gates' || kind === 'wells') {
    box.append(makeSvg('path', { d: SYMBOLS[kind], class: 'symbol-' + kind, transform: 'translate(4 0) scale(.9)' }));
  } else if (look.fill === false || kind === 'water') {
    box.append(makeSvg('path', { d: 'M1 9H25', fill: 'none', stroke: look.color, 'stroke-width': look.weight, 'stroke-dasharray': look.dashArray || 'none' }));
  } else {
    box.append(makeSvg('rect', { x: 1, y: 1, width: 24, height: 16, stroke: look.color, 'stroke-dasharray': look.dashArray || 'none', fill: patterned(look.fillColor, look.motif || 'plain') }));
  }
  return box;
}

var scaleBar = null;
function drawScale() {
  if (scaleBar) { scaleBar.remove(); }
  scaleBar = new ScaleBar({ maxWidth: 160 }).addTo(map);
}

// Leaflet's bar knows meters and feet; this one prints any unit system, in its longer unit where one of those fits
var ScaleBar = L.Control.Scale.extend({
  _addScales: function (options, className, box) { this._bar = L.DomUtil.create('div', className, box); },
  _updateScales: function (meters) {
    var kinds = plan.systems[units].kinds, long = meters / 1000 * kinds.road.factor >= 1;
    var kind = long ? 'road' : 'length', most = (long ? meters / 1000 : meters) * kinds[kind].factor;
    var shown = this._getRoundNum(most);
    this._updateScale(this._bar, quantity(kind, shown / kinds[kind].factor, 0), shown / most);
  }
});

var NorthArrow = L.Control.extend({
  options: { position: 'bottomright' },
  onAdd: function () {
    var arrow = makeSvg('svg', { viewBox: '0 0 30 40', width: 30, height: 40, role: 'img', 'aria-label': message('north') },
      makeSvg('g', { transform: 'rotate(' + Number(plan.north_turn) + ' 15 16)' },
        makeSvg('path', { class: 'north-half', d: 'M15 1L24 28L15 22Z' }), makeSvg('path', { class: 'north-line', d: 'M15 1L6 28L15 22Z' })),
      makeSvg('text', { x: 15, y: 39, 'text-anchor': 'middle' }, 'N'));
    return make('div', { class: 'north' }, arrow);
  }
});
