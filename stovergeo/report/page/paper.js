// On paper: one page for the farm and one for each yard in use. What is too long is set smaller, then cut with a note.
var PAGE = { wide: 190, high: 255 }; // mm: what both common paper sizes hold inside their margins
var PX_PER_MM = 96 / 25.4;
var SIZES = [11, 10.5, 10, 9.5, 9, 8.5, 8, 7.5, 7]; // points
var MAX_LINES = 'short-lines'; // class under which long words end in three dots

function drawPrintYards() {
  fill(byId('print-yards'), plan.yards.filter(function (y) { return y.bales; }).map(function (yard) {
    var boxes = make('p', { class: 'tick' }, message('tick'));
    var panel = make('div', {}, drawBlocks(yard.panel));
    var left = make('div', { class: 'yard-left' }, panel.querySelector('.drawn'), whereOnFarm(yard));
    return make('section', { class: 'print-yard' }, make('h2', {}, message('paper_title', { farm: plan.farm, yard: yard.id })), left, panel, boxes,
      make('p', { class: 'small' }, plan.guidance));
  }));
}

// the farm's outline with a mark where the yard lies, for a page that is read alone
function whereOnFarm(yard) {
  var frame = plan.frame, high = 120 * frame.height / frame.width;
  var at = function (p) { return (120 * p[1] / frame.width).toFixed(1) + ' ' + (high * (1 - p[0] / frame.height)).toFixed(1); };
  var picture = makeSvg('svg', { viewBox: '0 0 120 ' + high.toFixed(1), role: 'img', 'aria-label': message('where_on_farm', { yard: yard.id }) });
  plan.fields.forEach(function (field) {
    var rings = [].concat.apply([], field.shape.slice(1)).map(function (ring) { return 'M' + unrolled(ring).map(at).join('L') + 'Z'; });
    picture.append(makeSvg('path', { class: 'where-field', 'fill-rule': 'evenodd', d: rings.join('') }));
  });
  var spot = at([yard.at[1], yard.at[0]]).split(' ');
  picture.append(makeSvg('circle', { class: 'where-yard', cx: spot[0], cy: spot[1], r: 4 }));
  return make('figure', { class: 'where' }, picture, make('figcaption', {}, message('where', { yard: yard.id })));
}

function tooHigh(part) { return part.getBoundingClientRect().height > PAGE.high * PX_PER_MM; }

// the largest letters with which a part fits one page; then shorter lines; then fewer of them
function fitPart(part, sized) {
  var fits = SIZES.some(function (points) {
    sized.style.fontSize = points + 'pt';
    return !tooHigh(part);
  });
  if (fits) { return; }
  part.classList.add(MAX_LINES);
  while (tooHigh(part) && cutLongest(part)) { /* until it fits or nothing more can go */ }
}

// take the last line off the longest list, and say how many are gone
function cutLongest(part) {
  var lists = Array.prototype.slice.call(part.querySelectorAll('.words ul, .print-yard ul, .legend ul, .print-yard tbody'));
  var longest = lists.sort(function (a, b) { return b.children.length - a.children.length; })[0];
  if (!longest || longest.children.length < 4) { return false; }
  var note = longest.querySelector('.cut-note');
  var gone = note ? Number(note.dataset.gone) : 0;
  if (note) { note.remove(); }
  longest.lastElementChild.remove();
  var text = message('cut', { count: gone + 1 });
  longest.append(longest.tagName === 'TBODY' ? make('tr', { class: 'cut-note', 'data-gone': gone + 1 }, make('td', { colspan: 9 }, text))
    : make('li', { class: 'cut-note', 'data-gone': gone + 1 }, text));
  return true;
}

function forPaper() {
  if (document.body.classList.contains('on-paper')) { return; }
  document.body.classList.add('on-paper');
  drawPrintYards();
  shapeMap();
  map.invalidateSize({ animate: false });
  fitFarm();
  fitPart(byId('farm-page'), byId('farm-page'));
  document.querySelectorAll('.print-yard').forEach(function (part) { fitPart(part, part); });
}

function forScreen() {
  document.body.classList.remove('on-paper');
  byId('farm-page').classList.remove(MAX_LINES);
  byId('farm-page').style.fontSize = '';
  fill(byId('print-yards'), []);
  drawAll(); // what was cut comes back
  shapeMap();
  fitFarm();
}

window.addEventListener('beforeprint', forPaper);
window.addEventListener('afterprint', forScreen);
if (window.matchMedia) {
  window.matchMedia('print').addEventListener('change', function (query) { if (query.matches) { forPaper(); } else { forScreen(); } });
}
