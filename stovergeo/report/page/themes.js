// How zones are colored, what is written on them, and the legend of that.
var ROUND = 1e-9;

var THEMES = {
  take: {
    title: message('theme_take'), ramp: 'straw', kind: 'rate',
    value: function (z) { return z.take; }
  },
  limit: { title: message('theme_limit'), ramp: 'straw', kind: 'rate', value: function (z) { return z.limit; } },
  rule: {
    title: message('theme_rule'), classes: function () {
      return Object.assign({}, plan.rules, { method: message('method_limits') });
    }, value: function (z) { return z.rule; }
  },
  method: { title: message('theme_method'), classes: function () { return plan.methods; }, value: function (z) { return z.method; } },
  odds: { title: message('theme_odds'), ramp: 'straw', kind: 'fraction', value: function (z) { return z.odds; } },
  none: { title: message('theme_none') }
};
var theme = 'take';

function spread(values) {
  var known = values.filter(function (v) { return v !== null && v !== undefined; });
  return known.length ? [Math.min.apply(null, known), Math.max.apply(null, known)] : [0, 0];
}

// masses start at nothing, so that small differences look small; shares span what there is
function zoneEnds(how) {
  if (how.kind === 'rate') { return [0, spread(plan.zones.map(how.value))[1]]; }
  return spread(plan.zones.filter(isWorked).map(how.value));
}

function isWorked(zone) { return zone.method !== 'leave' && zone.method !== 'unknown'; }

// the classes that zones have, in the order of the list, others after
function usedClasses(how) {
  var used = plan.zones.filter(function (z) { return z.method !== 'unknown'; }).map(how.value), known = Object.keys(how.classes());
  return known.filter(function (n) { return used.indexOf(n) >= 0; }).concat(
    used.filter(function (n, k) { return known.indexOf(n) < 0 && used.indexOf(n) === k; }));
}

function zoneLook(zone) {
  var how = THEMES[theme], value = how.value ? how.value(zone) : null;
  var look = { color: '#2a2618', weight: 1.5, fillOpacity: 0.78, opacity: 1 };
  if (theme === 'none') { return Object.assign(look, { fillOpacity: 0.01, fillColor: '#ffffff' }); }
  if (zone.method === 'unknown') { return Object.assign(look, { fillColor: patterned('#ffffff', 'dots') }); }
  if (zone.method === 'leave' && theme !== 'rule') {
    return Object.assign(look, { fillColor: patterned('#f6f4ec', 'hatch') });
  }
  if (value === null || value === undefined) { return Object.assign(look, { fillColor: patterned('#ffffff', 'dots') }); }
  if (how.classes) {
    var k = Math.max(0, usedClasses(how).indexOf(value)) % CLASSES.length;
    return Object.assign(look, { fillColor: patterned(CLASSES[k][0], CLASSES[k][1]) });
  }
  var ends = zoneEnds(how);
  var share = ends[1] - ends[0] > ROUND ? (value - ends[0]) / (ends[1] - ends[0]) : 0.5;
  return Object.assign(look, { fillColor: hex(mixed(RAMPS[how.ramp], share)) });
}

// the number or word behind a zone's color, written on the zone
function zoneText(zone) {
  var how = THEMES[theme], value = how.value ? how.value(zone) : null;
  if (zone.method === 'leave' && theme !== 'rule') { return message(zone.kept ? 'kept_free' : 'stays'); }
  if (theme === 'none') { return ''; }
  if (zone.method === 'unknown') { return plan.unknown; }
  return how.classes ? how.classes()[value] || String(value) : inUnits(zone.printed[theme]);
}

function zoneLegend() {
  var how = THEMES[theme], list = make('ul', { class: 'key' });
  if (theme === 'none') { return list; }
  if (how.classes) {
    var classes = how.classes();
    usedClasses(how).forEach(function (name, k) {
      var look = CLASSES[k % CLASSES.length];
      list.append(swatch(name === 'leave' ? patterned('#f6f4ec', 'hatch') : patterned(look[0], look[1]), classes[name] || name));
    });
    return withUnknown(list);
  }
  if (plan.zones.some(isWorked)) {
    var ends = zoneEnds(how);
    list = ends[1] - ends[0] > ROUND ? rampLegend(how.ramp, how.kind, ends[0], ends[1])
      : make('ul', { class: 'key' }, swatch(hex(mixed(RAMPS[how.ramp], 0.5)), quantity(how.kind, ends[0])));
  }
  if (plan.zones.some(function (z) { return z.method === 'leave'; })) {
    list.append(swatch(patterned('#f6f4ec', 'hatch'), plan.methods.leave));
  }
  return withUnknown(list);
}

function withUnknown(list) {
  if (plan.zones.some(function (z) { return z.method === 'unknown'; })) {
    list.append(swatch(patterned('#ffffff', 'dots'), plan.methods.unknown));
  }
  return list;
}
