// Pictures of the ground: unpacked when first wanted, colored here, and read at a click.
var unpacked = {};

function unpack(layer) {
  if (!unpacked[layer.id]) {
    if (typeof DecompressionStream === 'undefined') {
      return Promise.reject(new Error(message('too_old')));
    }
    var bytes = Uint8Array.from(atob(layer.data), function (c) { return c.charCodeAt(0); });
    var stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('deflate'));
    unpacked[layer.id] = new Response(stream).arrayBuffer().then(function (buffer) {
      var cells = new Uint8Array(buffer), cols = plan.grid.cols;
      for (var i = 0; i < cells.length; i += 1) { // each cell was kept as the step from the one on its left
        if (i % cols !== 0) { cells[i] = (cells[i] + cells[i - 1]) & 255; }
      }
      return cells;
    });
  }
  return unpacked[layer.id];
}

function groundBounds() {
  var top = plan.frame.height;
  return [[top - plan.grid.rows * plan.grid.cell, 0], [top, plan.grid.cols * plan.grid.cell]];
}

function paint(layer, cells) {
  var rows = plan.grid.rows, cols = plan.grid.cols;
  var times = layer.labels ? Math.max(1, Math.min(6, Math.floor(Math.sqrt(1500000 / (rows * cols))))) : 1;
  var canvas = document.createElement('canvas');
  canvas.width = cols * times;
  canvas.height = rows * times;
  var context = canvas.getContext('2d'), image = context.createImageData(canvas.width, canvas.height);
  var colors = [];
  for (var code = 0; code < 255; code += 1) {
    colors.push(layer.labels ? null : mixed(RAMPS[layer.ramp], layer.most ? code / layer.most : 0));
  }
  for (var y = 0; y < canvas.height; y += 1) {
    for (var x = 0; x < canvas.width; x += 1) {
      var value = cells[Math.floor(y / times) * cols + Math.floor(x / times)];
      if (value === 255) { continue; }
      var rgb = colors[value];
      if (layer.labels) {
        var look = CLASSES[layer.looks[value]];
        rgb = inked(look[1], x, y) ? [42, 38, 24] : mixed([look[0], look[0]], 0);
      }
      var at = 4 * (y * canvas.width + x);
      image.data[at] = rgb[0];
      image.data[at + 1] = rgb[1];
      image.data[at + 2] = rgb[2];
      image.data[at + 3] = 225;
    }
  }
  context.putImageData(image, 0, 0);
  return canvas.toDataURL('image/png');
}

function groundLegend(layer) {
  if (!layer.labels) {
    return rampLegend(layer.ramp, layer.kind, layer.low, layer.low + layer.step * layer.most);
  }
  var list = make('ul', { class: 'key' });
  layer.shown.forEach(function (k, n) {
    var look = CLASSES[layer.looks[k]];
    if (n < CLASSES.length - 1 || layer.shown.length <= CLASSES.length) {
      list.append(swatch(patterned(look[0], look[1]), layer.labels[k]));
    } else if (n === CLASSES.length - 1) {
      list.append(swatch(patterned(look[0], look[1]), message('other_reason')));
    }
  });
  return list;
}

// what every layer says at a place, as rows of a table
function readGround(point) {
  var col = Math.floor(point.lng / plan.grid.cell), row = Math.floor((plan.frame.height - point.lat) / plan.grid.cell);
  if (col < 0 || row < 0 || col >= plan.grid.cols || row >= plan.grid.rows) { return Promise.resolve([]); }
  return Promise.all(plan.rasters.map(unpack)).then(function (all) {
    var rows = [];
    all.forEach(function (cells, k) {
      var layer = plan.rasters[k], value = cells[row * plan.grid.cols + col];
      if (value === 255) { return; }
      rows.push([layer.title, layer.labels ? layer.labels[value] : quantity(layer.kind, layer.low + layer.step * value)]);
    });
    return rows;
  });
}
