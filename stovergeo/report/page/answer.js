// The landowner's answer: yes, no or maybe for each yard, ground to keep free, pins with notes.
var ANSWERS = { yes: message('yes'), no: message('no'), maybe: message('maybe') };
var SIGNS = { yes: '\u2713', no: '\u2717', maybe: '?' };
var answers = {}; // by yard: {answer, note}
var marks = [];   // {kind: 'no_go'|'pin', points: [latlng], note, layer, number}
var drawing = null; // what is being drawn now
var nextMark = 1;

function tell(text) { byId('answer-status').textContent = text; }

function setAnswer(id, answer) {
  answers[id] = Object.assign({ note: '' }, answers[id], { answer: answer });
  var label = yardLabels[id].getElement();
  if (label) { label.firstElementChild.textContent = id + ' ' + SIGNS[answer] + ' ' + ANSWERS[answer].toLowerCase(); }
  drawAnswers();
  if (panelShown) { panelShown(); }
  tell(message('answered', { yard: id, answer: ANSWERS[answer].toLowerCase() }));
}

function answerButtons(yard) {
  var box = make('div', { class: 'row', role: 'group', 'aria-label': message('answer_for', { yard: yard.id }) });
  Object.keys(ANSWERS).forEach(function (key) {
    var chosen = answers[yard.id] && answers[yard.id].answer === key;
    var button = make('button', { type: 'button', class: 'choose', 'aria-pressed': String(Boolean(chosen)), 'data-choose': key },
      SIGNS[key] + ' ' + ANSWERS[key]);
    button.addEventListener('click', function () {
      setAnswer(yard.id, key);
      var again = document.querySelector('#panel [data-choose="' + key + '"]');
      if (again) { again.focus(); }
    });
    box.append(button);
  });
  return box;
}

function drawAnswers() {
  var spare = byId('spare-answers'), open = Boolean(spare && spare.open);
  fill(byId('yard-answers'), plan.yards.filter(function (y) { return y.bales; }).map(yardAnswer));
  var others = plan.yards.filter(function (y) { return !y.bales; });
  if (others.length) {
    var more = make('details', { id: 'spare-answers' }, make('summary', {}, message('other_places', { count: others.length })));
    more.append.apply(more, others.map(yardAnswer));
    more.open = open;
    byId('yard-answers').append(more);
  }
}

function yardAnswer(yard) {
  var set = make('fieldset', { class: 'yard-answer' }, make('legend', {}, message('yard_bales', { yard: yard.id, bales: bales(yard.bales) })));
  Object.keys(ANSWERS).forEach(function (key) {
    var input = make('input', { type: 'radio', name: 'yard-' + yard.id, value: key });
    input.checked = Boolean(answers[yard.id] && answers[yard.id].answer === key);
    input.addEventListener('change', function () {
      setAnswer(yard.id, key);
      byId('yard-answers').querySelector('input[name="yard-' + yard.id + '"][value="' + key + '"]').focus();
    });
    set.append(make('label', {}, input, ' ' + SIGNS[key] + ' ' + ANSWERS[key]));
  });
  var note = make('input', { type: 'text', maxlength: 500, 'aria-label': message('note_on_yard', { yard: yard.id }), placeholder: message('note') });
  note.value = (answers[yard.id] || {}).note || '';
  note.addEventListener('input', function () { answers[yard.id] = Object.assign({ answer: '' }, answers[yard.id], { note: note.value }); });
  var show = make('button', { type: 'button' }, message('show'));
  show.addEventListener('click', function () { goTo('yard', yard.id); });
  set.append(note, show);
  return set;
}

function startDrawing(kind) {
  stopDrawing();
  closePanel();
  drawing = { kind: kind, points: [], layer: L.layerGroup().addTo(map) };
  byId('draw-help').textContent = message(kind === 'no_go' ? 'draw_area' : 'draw_pin');
  byId('draw-add').textContent = message(kind === 'no_go' ? 'add_corner' : 'add_pin');
  byId('draw-done').hidden = byId('draw-undo').hidden = kind !== 'no_go';
  byId('draw-bar').hidden = byId('cross').hidden = false;
  document.body.classList.add('drawing');
  map.doubleClickZoom.disable(); // two corners set quickly are not a wish to zoom
  document.querySelector('.stage').scrollIntoView({ block: 'start' });
  byId('map_farm').focus({ preventScroll: true });
}

function stopDrawing() {
  if (drawing) { drawing.layer.remove(); }
  drawing = null;
  document.body.classList.remove('drawing');
  map.doubleClickZoom.enable();
  byId('draw-bar').hidden = byId('cross').hidden = true;
}

function addPoint(at) {
  drawing.points.push(at);
  if (drawing.kind === 'pin') { finishDrawing(); return; }
  redrawDraft();
}

function redrawDraft() {
  drawing.layer.clearLayers();
  L.polygon(drawing.points, Object.assign({ pane: 'marks', interactive: false }, LOOKS.no_go, { fillOpacity: 0.4 })).addTo(drawing.layer);
  drawing.points.forEach(function (p) {
    L.circleMarker(p, { radius: 6, color: '#8b1a2f', fillColor: '#fff', fillOpacity: 1, pane: 'marks', interactive: false }).addTo(drawing.layer);
  });
  var count = drawing.points.length;
  byId('draw-help').textContent = message(count === 1 ? 'corner' : count < 3 ? 'corners_too_few' : 'corners', { count: count });
}

function finishDrawing() {
  if (drawing.kind === 'no_go' && drawing.points.length < 3) {
    byId('draw-help').textContent = message('three_corners');
    return;
  }
  var mark = { kind: drawing.kind, points: drawing.points, note: '', number: nextMark, layer: null };
  nextMark += 1;
  mark.layer = mark.kind === 'no_go'
    ? L.polygon(mark.points, Object.assign({ pane: 'marks', interactive: false }, LOOKS.no_go, { fillColor: patterned('#e3b7bf', 'cross') }))
    : L.marker(mark.points[0], { icon: L.divIcon({ html: symbol('pin'), className: 'symbol symbol-pin', iconSize: [24, 24], iconAnchor: [12, 23] }), interactive: false, keyboard: false, pane: 'marks' });
  mark.layer.addTo(map);
  marks.push(mark);
  stopDrawing();
  drawMarks();
  tell(message(mark.kind === 'no_go' ? 'area_set' : 'pin_set', { number: mark.number }));
  byId('mark-note-' + mark.number).focus();
}

function drawMarks() {
  fill(byId('marks'), marks.map(function (mark) {
    var kind = mark.kind === 'no_go' ? 'area' : 'pin', number = { number: mark.number }, title = message(kind, number);
    var note = make('input', { type: 'text', maxlength: 500, id: 'mark-note-' + mark.number, 'aria-label': message('note_on_' + kind, number), placeholder: message('note') });
    note.value = mark.note;
    note.addEventListener('input', function () { mark.note = note.value; });
    var drop = make('button', { type: 'button', 'aria-label': message('remove_' + kind, number) }, message('remove'));
    drop.addEventListener('click', function () {
      mark.layer.remove();
      marks = marks.filter(function (m) { return m !== mark; });
      drawMarks();
      tell(message('removed', { mark: title }));
      byId('start-area').focus();
    });
    return make('li', {}, make('b', {}, title), note, drop);
  }));
}

function ringOf(points) {
  var ring = points.map(toLonLat);
  ring.push(ring[0]);
  return ring;
}

function answerFile() {
  var features = [];
  plan.yards.forEach(function (yard) {
    var given = answers[yard.id];
    if (!given || (!given.answer && !given.note)) { return; }
    var rings = yard.shape.slice(1).map(function (part) {
      return part.map(function (steps) { return unrolled(steps).map(function (p) { return toLonLat({ lat: p[0], lng: p[1] }); }); });
    });
    features.push({ type: 'Feature', properties: { kind: 'yard', yard_id: yard.id, answer: given.answer || '', note: given.note || '' },
      geometry: { type: 'MultiPolygon', coordinates: rings } });
  });
  marks.forEach(function (mark) {
    features.push({ type: 'Feature', properties: { kind: mark.kind, note: mark.note },
      geometry: mark.kind === 'no_go' ? { type: 'Polygon', coordinates: [ringOf(mark.points)] }
        : { type: 'Point', coordinates: toLonLat(mark.points[0]) } });
  });
  return { type: 'FeatureCollection', stovergeo_answer: 1, plan_key: plan.key, season: plan.season, said_by: byId('said-by').value,
    written: new Date().toISOString().slice(0, 10), features: features };
}

function saveAnswer() {
  var answer = answerFile();
  if (!answer.features.length) { tell(message('no_answer')); return; }
  var link = make('a', { download: 'stover-answer-' + Number(plan.season) + '.geojson' });
  link.href = URL.createObjectURL(new Blob([JSON.stringify(answer, null, 1)], { type: 'application/geo+json' }));
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(function () { URL.revokeObjectURL(link.href); }, 60000);
  tell(message('saved', { file: link.download }));
}

function copyAnswer() {
  var answer = answerFile();
  if (!answer.features.length) { tell(message('no_answer')); return; }
  var box = byId('answer-text');
  byId('answer-text-part').hidden = false;
  box.value = JSON.stringify(answer);
  box.focus();
  box.select();
  var done = function () { tell(message('copied')); };
  var byHand = function () { tell(message('copy_by_hand')); };
  if (navigator.clipboard) { navigator.clipboard.writeText(box.value).then(done, byHand); } else { byHand(); }
}
