// Yards: outline, lanes, truck apron and rows to scale; yards of the plan before; ground kept clear of stacks.
var YARD_LOOKS = {
  lanes: { color: '#7d745c', weight: 1, fillColor: '#ece4cd', fillOpacity: 1 },
  apron: { color: '#1f2f4d', weight: 1, fillColor: '#cfd6dd', fillOpacity: 1, motif: 'grid' },
  before: { color: '#5b4a63', weight: 2.5, dashArray: '3 5', fillColor: '#f3eef5', fillOpacity: 0.75 }
};

var beforeLayers = {};

function drawYards() {
  group('before', message('yards_before'), drawBefore(), true);
  group('yards', message('yards'), [].concat.apply([], plan.yards.map(function (yard) {
    var outline = drawn(yard.shape, { color: '#1f2f4d', weight: yard.bales ? 3 : 2, dashArray: yard.bales ? null : '5 4',
      fillColor: '#ffffff', fillOpacity: 1, interactive: true }, 'yards');
    yardLayers[yard.id] = outline;
    reachable(outline, message('open_yard', { yard: yard.id, bales: bales(yard.bales) }), function (at) { openYard(yard.id, at); });
    return [outline].concat(
      yard.lanes.map(function (code) { return drawn(code, YARD_LOOKS.lanes, 'yards'); }),
      yard.apron.map(function (code) { return drawn(code, YARD_LOOKS.apron, 'yards'); }),
      yard.rows.map(function (code) {
        return drawn(code, { color: '#3d2610', weight: 0.7, fillColor: yard.bales ? '#8a5a2b' : '#d8c7ae', fillOpacity: 1 }, 'yards');
      }));
  })), true);
  group('yard-labels', message('names_of_yards'), plan.yards.map(function (yard) {
    yardLabels[yard.id] = labelAt(yard.at, yard.id, yard.bales ? 'yard' : 'spare', undefined, function () { openYard(yard.id); });
    return yardLabels[yard.id];
  }), true);
}

function drawBefore() {
  return [].concat.apply([], plan.before.map(function (yard) {
    var outline = drawn(yard.shape, Object.assign({ interactive: true }, YARD_LOOKS.before), 'before');
    beforeLayers[yard.id] = outline;
    reachable(outline, message('open_before', { yard: yard.id }), function () { openBefore(yard.id); });
    if (yard.now) { return [outline]; } // the present yard's name stands there
    var label = labelAt(yard.at, message('label_before', { yard: yard.id }), 'before', undefined, function () { openBefore(yard.id); });
    beforeLabels.push(label);
    return [outline, label];
  }));
}

function openBefore(id) {
  var yard = plan.before.find(function (y) { return y.id === id; });
  openPanel(message('yard_before', { yard: id }), function () { return [drawBlocks(yard.panel)]; });
}

function clearLook(k) { return CLASSES[k % CLASSES.length]; }

function drawKeptClear() {
  group('kept-clear', message('kept_clear'), plan.kept_clear.map(function (area, k) {
    var look = clearLook(k);
    return drawn(area.shape, { color: '#4a3a1c', weight: 1, dashArray: '4 3', fillColor: look[0], fillOpacity: 0.6, motif: look[1] }, 'clear');
  }), false);
}

function clearLegend() {
  var list = make('ul', { class: 'key' });
  plan.kept_clear.forEach(function (area, k) { list.append(swatch(patterned(clearLook(k)[0], clearLook(k)[1]), area.title)); });
  return list;
}
