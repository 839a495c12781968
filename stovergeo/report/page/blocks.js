// Blocks of a panel: texts, lists, tables, bars, curves, drawings, and blocks folded away.
function drawBlocks(blocks) {
  var list = document.createDocumentFragment();
  blocks.forEach(function (block) {
    var kind = Object.keys(block)[0];
    list.append(blockMakers[kind](block[kind]));
  });
  return list;
}

var blockMakers = {
  p: function (parts) { return make('p', {}, inUnits(parts)); },
  ul: function (items) {
    var list = make('ul');
    items.forEach(function (item) { list.append(make('li', {}, inUnits(item))); });
    return list;
  },
  more: function (more) {
    return make('details', {}, make('summary', {}, more.title), drawBlocks(more.blocks));
  },
  drawing: function (number) {
    var stored = document.querySelector('.stored-drawing[data-drawing="' + Number(number) + '"][data-for="' + units + '"]');
    var copy = stored.firstElementChild.cloneNode(true);
    return make('div', { class: 'drawn' }, copy);
  },
  table: function (table) {
    var head = make('tr');
    table.head.forEach(function (text) { head.append(make('th', { scope: 'col' }, text)); });
    var body = make('tbody');
    table.rows.forEach(function (row) {
      var line = make('tr');
      row.forEach(function (cell, k) {
        line.append(k === 0 ? make('th', { scope: 'row' }, inUnits(cell)) : make('td', {}, inUnits(cell)));
      });
      body.append(line);
    });
    var whole = make('table', {}, make('caption', {}, table.caption), make('thead', {}, head), body);
    return make('div', { class: 'table-box', tabindex: '0', role: 'group', 'aria-label': table.caption }, whole);
  },
  bars: function (bars) {
    var box = make('figure', { class: 'bars' }, make('figcaption', {}, bars.caption));
    bars.rows.forEach(function (row) {
      var picture = makeSvg('svg', { viewBox: '0 0 200 14', preserveAspectRatio: 'none', 'aria-hidden': 'true' },
        makeSvg('rect', { class: 'bar-back', x: 0, y: 1, width: 200, height: 12 }),
        makeSvg('rect', { class: 'bar', x: 0, y: 1, width: 200 * row[1], height: 12 }));
      if (bars.line) {
        picture.append(makeSvg('rect', { class: 'bar-line', x: 200 * bars.line[1] - 2, y: 0, width: 2, height: 14 }));
      }
      box.append(make('div', { class: 'bar-row' }, make('span', {}, row[0]),
        make('span', { class: 'bar-value' }, inUnits(row[2])), picture));
    });
    if (bars.line) { box.append(make('p', { class: 'small' }, message('upright_line', { label: bars.line[0], value: inUnits(bars.line[2]) }))); }
    return box;
  },
  curves: function (curves) {
    var wide = 340, high = 200, left = 34, foot = 24;
    var known = [];
    curves.series.forEach(function (s) { s.mid.forEach(function (v) { if (v !== null) { known.push(v); } }); });
    var most = Math.max.apply(null, known.concat([1]));
    var step = [1, 2, 5, 10, 20, 50].find(function (s) { return most / s <= 5; }) || 100;
    var top = Math.ceil(most / step) * step;
    var x = function (k) { return left + (wide - left - 8) * k / Math.max(1, curves.x.length - 1); };
    var y = function (v) { return 8 + (high - foot - 8) * (1 - v / top); };
    var picture = makeSvg('svg', { viewBox: '0 0 ' + wide + ' ' + high, role: 'img', 'aria-label': curves.caption, class: 'curves' });
    for (var v = 0; v <= top; v += step) {
      picture.append(makeSvg('path', { class: 'grid', d: 'M' + left + ' ' + y(v) + 'H' + (wide - 8) }),
        makeSvg('text', { class: 'axis', x: left - 4, y: y(v) + 4, 'text-anchor': 'end' }, quantity('percent', v)));
    }
    curves.x.forEach(function (label, k) {
      if (curves.x.length <= 8 || k % 2 === 0) {
        picture.append(makeSvg('text', { class: 'axis', x: x(k), y: high - 8, 'text-anchor': 'middle' }, label));
      }
    });
    var key = make('ul', { class: 'key' });
    curves.series.forEach(function (s, n) {
      var path = '';
      s.mid.forEach(function (v, k) { if (v !== null) { path += (path && s.mid[k - 1] !== null ? 'L' : 'M') + x(k) + ' ' + y(v); } });
      picture.append(makeSvg('path', { class: 'curve curve-' + n % 8, d: path }));
      key.append(make('li', {}, makeSvg('svg', { viewBox: '0 0 40 8', 'aria-hidden': 'true', width: 40, height: 8 },
        makeSvg('path', { class: 'curve curve-' + n % 8, d: 'M0 4H40' })), s.label));
    });
    return make('figure', {}, make('figcaption', {}, curves.caption), picture, key);
  }
};
