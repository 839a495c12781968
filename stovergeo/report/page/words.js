// The first screen in plain words, before anything heavy runs.
function drawWords() {
  var parts = [];
  [[message('changed'), plan.changes], [message('your_answers'), plan.answered]].forEach(function (pair) {
    if (!pair[1].length) { return; }
    var list = make('ul');
    pair[1].forEach(function (line) { list.append(make('li', {}, inUnits(line))); });
    parts.push(make('section', { class: 'changed' }, make('h2', {}, pair[0]), list));
  });
  var before = parts.length;
  plan.first.forEach(function (section) {
    var lines = section.lines.map(inUnits);
    var body = lines.length === 1 ? make('p', {}, lines[0]) : make('ul');
    if (lines.length > 1) { lines.forEach(function (line) { body.append(make('li', {}, line)); }); }
    parts.push(make('section', { class: 'part-' + section.id }, make('h2', {}, section.title), body));
  });
  parts.splice(before + 2, 0, make('p', { class: 'to-map' }, make('a', { href: '#map-part', class: 'main-button' }, message('see_map')),
    make('a', { href: '#answer', class: 'main-button second' }, message('answer'))));
  fill(byId('words'), parts);
}

function drawHead() {
  document.title = message('window', { farm: plan.farm, season: plan.season });
  byId('farm-name').textContent = plan.farm;
  byId('farm-sub').textContent = message(plan.landowner ? 'subtitle_for' : 'subtitle', { season: plan.season, landowner: plan.landowner });
  fill(byId('units'), Object.keys(plan.systems).map(function (name) {
    var system = plan.systems[name], input = make('input', { type: 'radio', name: 'units', value: name });
    input.checked = name === units;
    return make('label', {}, input, ' ' + message('system', { title: system.title, area: system.kinds.area.label, mass: system.kinds.mass.label }));
  }));
}

drawHead();
drawWords();
