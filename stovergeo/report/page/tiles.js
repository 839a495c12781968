// Background pictures from a host, only where the plan asks for them. They come in squares of the web's own
// projection; each is laid onto the map's true meters by its three corners, so that it is off by centimeters only.
var tilesFailed = 0, tilesCame = 0;

// the web's square, 0 to 1 east and south, to meters of the page as [north, east]
function fromWeb(e, s) {
  var fit = plan.tiles.fit, u = (e - fit.center[0]) / fit.half, v = (s - fit.center[1]) / fit.half, x = 0, y = 0;
  fit.powers.forEach(function (power, k) {
    var term = Math.pow(u, power[0]) * Math.pow(v, power[1]);
    x += fit.x[k] * term;
    y += fit.y[k] * term;
  });
  return [y, x];
}

function toWeb(at) {
  var degrees = toLonLat(at), s = Math.sin(degrees[1] * Math.PI / 180);
  return [degrees[0] / 360 + 0.5, 0.5 - Math.log((1 + s) / (1 - s)) / (4 * Math.PI)];
}

var TileLayer = L.Layer.extend({
  onAdd: function (on) {
    this._box = on.getPane('tiles');
    this._shown = {};
    on.on('moveend zoomend viewreset resize', this._draw, this);
    this._draw();
  },
  onRemove: function (on) {
    on.off('moveend zoomend viewreset resize', this._draw, this);
    fill(this._box, []);
    this._shown = {};
  },
  // the level whose pictures come nearest to a point of the screen for each of theirs
  _level: function () {
    var here = toWeb(map.getCenter()), meters = Math.abs(fromWeb(here[0] + 1e-6, here[1])[1] - fromWeb(here[0], here[1])[1]) * 1e6;
    var wanted = Math.log2(meters * Math.pow(2, map.getZoom()) / 256);
    return Math.max(0, Math.min(plan.tiles.zoom_max, Math.round(wanted)));
  },
  _draw: function () {
    var z = this._level(), n = Math.pow(2, z), view = map.getBounds().pad(0.05), layer = this, wanted = {};
    var corners = [view.getNorthWest(), view.getNorthEast(), view.getSouthWest(), view.getSouthEast()].map(toWeb);
    var ends = [0, 1].map(function (k) {
      var all = corners.map(function (c) { return c[k] * n; });
      return [Math.max(0, Math.floor(Math.min.apply(null, all))), Math.min(n - 1, Math.floor(Math.max.apply(null, all)))];
    });
    if ((ends[0][1] - ends[0][0] + 1) * (ends[1][1] - ends[1][0] + 1) > 100) { return; }
    for (var x = ends[0][0]; x <= ends[0][1]; x += 1) {
      for (var y = ends[1][0]; y <= ends[1][1]; y += 1) { wanted[z + '/' + x + '/' + y] = [x, y]; }
    }
    Object.keys(this._shown).forEach(function (key) {
      if (!wanted[key]) { layer._shown[key].remove(); delete layer._shown[key]; }
    });
    Object.keys(wanted).forEach(function (key) {
      if (!layer._shown[key]) { layer._shown[key] = layer._picture(z, wanted[key]); }
      layer._lay(layer._shown[key], wanted[key], n);
    });
  },
  _picture: function (z, at) {
    var picture = make('img', { alt: '', class: 'tile', width: 256, height: 256 });
    picture.addEventListener('load', function () { tilesCame += 1; picture.classList.add('came'); showTiles(); });
    picture.addEventListener('error', function () { tilesFailed += 1; picture.remove(); showTiles(); });
    picture.src = plan.tiles.template.replace('{z}', z).replace('{x}', at[0]).replace('{y}', at[1]);
    this._box.append(picture);
    return picture;
  },
  _lay: function (picture, at, n) {
    var p = [[0, 0], [1, 0], [0, 1]].map(function (c) {
      return map.project(fromWeb((at[0] + c[0]) / n, (at[1] + c[1]) / n)).subtract(map.getPixelOrigin());
    });
    var m = [p[1].x - p[0].x, p[1].y - p[0].y, p[2].x - p[0].x, p[2].y - p[0].y].map(function (v) { return v / 256; });
    picture.style.transform = 'matrix(' + m.concat([p[0].x, p[0].y]).join(',') + ')';
  }
});

function showTiles() {
  byId('tiles-state').textContent = tilesFailed && !tilesCame ? ' ' + message('no_picture') : '';
}

function drawTiles() {
  if (!plan.tiles) { return; }
  map.createPane('tiles').style.zIndex = 405;
  groups.tiles = { title: message('tiles', { host: plan.tiles.host }), layer: new TileLayer(), shown: true };
  groups.tiles.layer.addTo(map);
  byId('tiles-note').hidden = byId('tiles-credit').hidden = false;
  byId('tiles-text').textContent = message('tiles_note', { host: plan.tiles.host });
  byId('tiles-credit').textContent = message('tiles_credit', { credit: plan.tiles.credit });
}
