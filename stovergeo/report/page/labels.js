// Names on the map: fields, zones and yards; where they would lie over each other the lesser one waits.
var zoneLabels = {}, yardLabels = {}, fieldLabels = [], beforeLabels = [];

// a field may have a long name; all of it stands in the panels and tables
function shortName(text) {
  var bare = text.length > 26 ? text.split(' (')[0] : text;
  return bare.length > 26 ? bare.slice(0, 25).trim() + '\u2026' : bare;
}

// with `open` the name can be touched: a yard itself is small on a phone. Keys go to the shape, not to its name.
function labelAt(at, text, kind, below, open) {
  var inner = make('span', {}, text);
  if (below !== undefined) { inner.append(make('br'), make('small', {}, below)); }
  var label = L.marker([at[1], at[0]], {
    icon: L.divIcon({ html: inner, className: 'label label-' + kind, iconSize: null }), interactive: Boolean(open), keyboard: false, pane: 'marks'
  });
  if (open) { label.on('click', open); }
  return label;
}

function relabelZones() {
  plan.zones.forEach(function (zone) {
    var label = zoneLabels[zone.id].getElement();
    if (label) { label.querySelector('small').textContent = zoneText(zone); }
  });
  clearLabels();
}

// where names would lie over each other the less important one waits until the reader comes nearer
function clearLabels() {
  var taken = [];
  var wanted = plan.yards.map(function (y) { return [y.bales ? 2e9 : -1, yardLabels[y.id]]; }).concat(
    beforeLabels.map(function (label) { return [1e9, label]; }),
    fieldLabels.map(function (label) { return [1e8, label]; }),
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
