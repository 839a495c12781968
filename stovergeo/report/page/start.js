// Wires the controls of the page.
var themeNames = Object.keys(THEMES);

// what is folded away is made when it is opened, so that the first screen comes at once
var FOLDED = {
  'tables': function () { return [drawBlocks(plan.tables)]; },
  'choice': function () { return [drawBlocks(plan.choice)]; },
  'storage': function () { return [drawBlocks(plan.storage)]; },
  'sources': function () { return [drawBlocks(plan.sources)]; },
  'cautions': function () { return plan.cautions.map(function (line) { return make('li', {}, inUnits(line)); }); }
};
function drawFolded(id) {
  if (byId(id).closest('details').open) { fill(byId(id), FOLDED[id]()); }
}

function drawAll() {
  drawWords();
  Object.keys(FOLDED).forEach(drawFolded);
  drawLegend();
  drawScale();
  relabelZones();
  if (panelShown) { panelShown(); }
}

function goTo(kind, id) {
  var layer = { zone: zoneLayers, yard: yardLayers, before: beforeLayers }[kind][id];
  ({ zone: openZone, yard: openYard, before: openBefore })[kind](id, null);
  var beside = byId('panel').offsetWidth, stage = byId('map_farm').offsetWidth;
  // keep what was asked for beside the panel, or above it on a phone
  map.fitBounds(layer.getBounds(), { animate: false, maxZoom: kind === 'zone' ? 0 : 2, paddingTopLeft: [40, 60],
    paddingBottomRight: beside < stage * 0.7 ? [beside + 40, 40] : [40, byId('map_farm').offsetHeight * 0.45] });
  document.querySelector('.stage').scrollIntoView({ block: 'start' });
}

function options(select, pairs) {
  pairs.forEach(function (pair) {
    var option = make('option', { value: pair[0] }, pair[1]);
    select.append(option);
  });
}

function wire() {
  byId('guidance').textContent = plan.guidance;
  byId('storage-part').hidden = !plan.storage.length;
  byId('choice-part').hidden = !plan.choice.length;
  Object.keys(FOLDED).forEach(function (id) {
    byId(id).closest('details').addEventListener('toggle', function () { drawFolded(id); });
  });
  document.querySelectorAll('input[name="units"]').forEach(function (input) {
    input.addEventListener('change', function () { units = input.value; drawAll(); });
  });
  options(byId('theme'), themeNames.map(function (n) { return [n, THEMES[n].title]; }));
  byId('theme').addEventListener('change', function () { theme = byId('theme').value; restyleZones(); drawLegend(); });
  options(byId('ground'), [['', message('relief')]].concat(plan.rasters.map(function (r) { return [r.id, r.title]; })));
  byId('ground').addEventListener('change', function () {
    showGround(byId('ground').value);
    if (byId('ground').value && theme !== 'none') { // the zones would hide the picture
      theme = byId('theme').value = 'none';
      restyleZones();
      drawLegend();
    }
  });
  options(byId('goto'), [['', message('go_to')], ['farm', message('whole_farm')]].concat(
    plan.yards.map(function (y) { return ['yard:' + y.id, message('go_to_yard', { yard: y.id })]; }),
    plan.before.map(function (y) { return ['before:' + y.id, message('go_to_before', { yard: y.id })]; }),
    plan.zones.map(function (z) { return ['zone:' + z.id, message('go_to_zone', { zone: z.id })]; })));
  byId('goto').addEventListener('change', function () {
    var wanted = byId('goto').value.split(':');
    if (wanted[0] === 'farm') { closePanel(); fitFarm(); }
    if (wanted.length === 2) { goTo(wanted[0], wanted[1]); }
    byId('goto').value = '';
  });
  Object.keys(groups).forEach(function (id) {
    var box = make('input', { type: 'checkbox', 'data-layer': id });
    box.checked = groups[id].shown;
    box.addEventListener('change', function () {
      if (box.checked) { groups[id].layer.addTo(map); } else { groups[id].layer.remove(); }
      drawLegend();
      clearLabels();
    });
    byId('layers').append(make('label', {}, box, ' ' + groups[id].title));
  });
  byId('panel-close').addEventListener('click', closePanel);
  byId('start-area').addEventListener('click', function () { startDrawing('no_go'); });
  byId('start-pin').addEventListener('click', function () { startDrawing('pin'); });
  byId('draw-add').addEventListener('click', function () { addPoint(map.getCenter()); });
  byId('draw-undo').addEventListener('click', function () { drawing.points.pop(); redrawDraft(); });
  byId('draw-done').addEventListener('click', finishDrawing);
  byId('draw-cancel').addEventListener('click', function () { stopDrawing(); byId('start-area').focus(); });
  byId('save-answer').addEventListener('click', saveAnswer);
  byId('copy-answer').addEventListener('click', copyAnswer);
  document.addEventListener('keydown', function (event) {
    if (event.key !== 'Escape') { return; }
    if (drawing) { stopDrawing(); byId('start-area').focus(); } else if (!byId('panel').hidden) { closePanel(); }
  });
}

// a phone held upright would show a broad farm with much empty ground above and below it
function shapeMap() {
  var box = byId('map_farm'), bounds = groups.fields ? groups.fields.layer.getBounds() : null, high = window.innerHeight;
  if (document.body.classList.contains('on-paper') || !bounds) { box.style.height = ''; return; }
  var wanted = 70 + box.offsetWidth * (bounds.getNorth() - bounds.getSouth()) / Math.max(1, bounds.getEast() - bounds.getWest());
  box.style.height = Math.round(Math.max(340, Math.min(wanted, 0.72 * high))) + 'px';
  map.invalidateSize({ animate: false });
}

drawFarm();
wire();
drawAnswers();
drawAll();
map.on('click', function (event) { if (drawing) { addPoint(event.latlng); } else { openPlace(event.latlng); } });
map.addControl(new NorthArrow());
map.on('zoomend', clearLabels);
clearLabels();
// the wheel scrolls the page until the map is in use
map.scrollWheelZoom.disable();
map.on('focus click', function () { map.scrollWheelZoom.enable(); });
map.on('blur mouseout', function () { map.scrollWheelZoom.disable(); });
window.addEventListener('resize', shapeMap);
shapeMap();
fitFarm();
