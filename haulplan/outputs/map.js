document.addEventListener("DOMContentLoaded", function () {
  "use strict";
  var map = MAP, data = DATA;
  function node(tag, name, text) {
    var made = document.createElement(tag);
    if (name) { made.className = name; }
    if (text !== undefined) { made.textContent = text; }
    return made;
  }
  function drawn(tag, traits, parent) {
    var made = document.createElementNS("http://www.w3.org/2000/svg", tag);
    Object.keys(traits).forEach(function (key) { made.setAttribute(key, traits[key]); });
    if (parent) { parent.appendChild(made); }
    return made;
  }
  function find(path) { return document.querySelector(path); }

  find("#heading h1").textContent = data.title;
  find("#heading p").textContent = data.facts;
  data.cautions.forEach(function (words) {
    find("#cautions ul").appendChild(node("li", "", words));
  });
  var cautions = find("#cautions");
  cautions.open = window.matchMedia("(min-width: 56rem)").matches;
  window.addEventListener("beforeprint", function () { cautions.open = true; });

  var key = find("#key ul");
  function explain(sign, words) {
    var row = node("li");
    row.appendChild(sign);
    row.appendChild(node("span", "", words));
    key.appendChild(row);
  }
  var roads = [];
  function line(lines, colour, width, dash) {
    roads.push({lines: lines, shape: L.polyline(lines, {
      color: colour, weight: width, dashArray: dash, opacity: 1, lineCap: "butt",
      lineJoin: "round", interactive: false
    }).addTo(map)});
  }
  // The lines moved to the right of the way driven.
  function beside(lines) {
    return lines.map(function (points) {
      var spots = points.map(function (at) { return map.project(at); });
      spots = spots.filter(function (p, i) {
        return i % (spots.length - 1) === 0 || p.distanceTo(spots[i - 1]) > 2;
      });
      return spots.map(function (p, i) {
        var way = (spots[i + 1] || p).subtract(spots[i - 1] || p);
        var size = Math.hypot(way.x, way.y) || 1;
        return map.unproject(p.add([-6 * way.y / size, 6 * way.x / size]));
      });
    });
  }
  line(data.classes.map(function (c) { return c.lines; }).flat(), "#fffdf5", 14, "");
  data.classes.slice().sort(function (a, b) { return a.width - b.width; }).forEach(function (c) {
    line(c.lines, c.colour, c.width, c.dash);
  });
  data.classes.forEach(function (c) {
    var sign = drawn("svg", {viewBox: "0 0 54 22", "aria-hidden": "true"});
    drawn("line", {
      x1: 0, x2: 54, y1: 11, y2: 11, stroke: c.colour, "stroke-width": c.width,
      "stroke-dasharray": c.dash
    }, sign);
    explain(sign, c.words);
  });
  var arrows = data.arrows.map(function (a) {
    var sign = drawn("svg", {viewBox: "0 0 16 16", width: 16, height: 16,
      style: "transform: rotate(" + a[2] + "deg)"});
    drawn("path", {d: "M8 1 L14 14 L8 10 L2 14 Z", fill: "#111", stroke: "#fffdf5",
      "stroke-width": 1.5}, sign);
    return L.marker(a.slice(0, 2), {interactive: false, keyboard: false, icon: L.divIcon({
      html: sign, className: "arrow", iconSize: [16, 16]})}).addTo(map);
  });

  function mark(kind, text) {
    var sign = node("div", "mark");
    sign.appendChild(node("i", kind)).dataset.text = text || "";
    return sign;
  }
  data.signs.forEach(function (s) { explain(mark(s[0], s[1]), s[2]); });
  data.remarks.forEach(function (words) { explain(node("span"), words); });

  function details(item) {
    var page = node("div"), body = node("tbody"), table = node("table");
    page.appendChild(node("h2", "", item.name));
    item.rows.forEach(function (cells) {
      var row = node("tr"), head = node("th", "", cells[0]);
      head.scope = "row";
      row.appendChild(head);
      row.appendChild(node("td", "", cells[1]));
      body.appendChild(row);
    });
    table.appendChild(body);
    page.appendChild(table);
    if (item.remark) { page.appendChild(node("p", "", item.remark)); }
    return page;
  }
  var marks = data.marks.map(function (item, order) {
    var sign = mark(item.kind, item.text), label = node("span", "label " + item.kind, item.name);
    label.setAttribute("aria-hidden", "true");
    sign.appendChild(label);
    var leader = L.polyline([], {color: "#555", weight: 1, interactive: false}).addTo(map);
    var marker = L.marker(item.at, {
      keyboard: true, title: item.title, alt: item.title, riseOnHover: true,
      autoPanOnFocus: false,
      zIndexOffset: 1000 * (4 - item.level),
      icon: L.divIcon({html: sign, className: "mark", iconSize: [44, 44]})
    }).bindPopup(function () { return details(item); }, {
      minWidth: Math.min(310, map.getSize().x - 46), maxHeight: map.getSize().y - 60,
      maxWidth: Math.min(340, map.getSize().x - 46),
      autoPanPadding: [8, 8]
    }).addTo(map);
    marker.getElement().setAttribute("aria-label", item.title);
    marker.getElement().dataset.order = order;
    // A press of the mouse gives focus too; the map must not slide away under it.
    marker.getElement().addEventListener("focus", function () {
      if (marker.getElement().matches(":focus-visible")) { map.panInside(marker.getLatLng(), {padding: [44, 44]}); }
    });
    return {item: item, marker: marker, label: label, leader: leader};
  });

  // Layers, the place looked for, and how far a dip goes: controls outside the map.
  var hidden = {};
  function kindsShown(layer, shown) {
    layer.kinds.forEach(function (kind) { hidden[kind] = !shown; });
    arrange();
  }
  function control(parent, type, words, act) {
    var label = node("label"), made = node("input");
    made.type = type;
    made.checked = true;
    label.appendChild(made);
    label.appendChild(document.createTextNode(words));
    parent.appendChild(label);
    made.addEventListener("change", function () { act(made.checked); });
  }
  (data.layers || []).forEach(function (layer) {
    control(find("#layers"), "checkbox", layer.name, function (shown) { kindsShown(layer, shown); });
  });
  function choice(words, names) {
    var label = node("label", "pick", words), made = node("select");
    names.forEach(function (name, i) {
      var option = node("option", "", name);
      option.value = i;
      made.appendChild(option);
    });
    label.appendChild(made);
    find("#layers").appendChild(label);
    return made;
  }
  var reachLine = L.polyline([], {color: "#111", weight: 22, opacity: 0.22, interactive: false,
    lineCap: "butt"}).addTo(map);
  if (data.reach) {
    var from = choice("Leaving", [" "].concat(data.reach.places.map(function (p) { return p.name; })));
    var dip = choice("with the tank at", data.reach.dips), said = node("p");
    said.setAttribute("role", "status");
    find("#layers").appendChild(said);
    var reached = function () {
      var place = data.reach.places[from.value - 1], end = place && place.ends[dip.value];
      reachLine.setLatLngs(!place ? [] : data.reach.road.filter(function (p) {
        return p[0] >= place.begin && p[0] <= end;
      }).map(function (p) { return [p[1], p[2]]; }));
      said.textContent = !place ? "" : "Reserve met after " +
        ((end - place.begin) / data.reach.size).toFixed(1) + " " + data.reach.unit + " (" +
        data.reach.words + ").";
    };
    from.addEventListener("change", reached);
    dip.addEventListener("change", reached);
  }
  find("#layers").hidden = !(data.layers || []).length && !data.reach;
  marks.forEach(function (m) {
    var option = node("option");
    option.value = m.item.name;
    find("#names").appendChild(option);
  });
  find("#find").addEventListener("submit", function (event) {
    var wanted = find("#name").value.trim().toLowerCase(), hit;
    event.preventDefault();
    hit = wanted && (marks.find(function (m) { return m.item.name.toLowerCase() === wanted; }) ||
      marks.find(function (m) { return m.item.name.toLowerCase().includes(wanted); }));
    find("#find output").textContent = hit ? hit.item.title : wanted ? "No such place here." : "";
    if (hit) {
      hidden[hit.item.kind] = false;
      map.setView(hit.item.at, Math.max(map.getZoom(), 15), {animate: false});
      arrange();
      hit.marker.openPopup();
    }
  });
  find("#print").addEventListener("click", function () { window.print(); });

  function view() {
    var corner = map.containerPointToLayerPoint([0, 0]);
    return L.bounds(corner, corner.add(map.getSize()));
  }
  // Marks that would cover each other move aside and keep a leader to their true place;
  // supplies passed by and landmarks without room wait until the reader looks closer.
  var steps = [[0, 0]], ring, turn;
  for (ring = 20; ring <= 120; ring += 20) {
    for (turn = 0; turn < 2 * Math.PI - 0.1; turn += Math.PI / 8) {
      steps.push([ring * Math.sin(turn), -ring * Math.cos(turn)]);
    }
  }
  function settle(m, taken) {
    var home = map.latLngToLayerPoint(m.item.at), seen = view(), inside = seen.contains(home);
    var minor = m.item.level > 1, tries = minor ? steps.slice(0, 33) : steps;
    var step = tries.find(function (offset) {
      var spot = home.add(offset);
      return (!inside || seen.contains(spot)) && taken.every(function (other) {
        return spot.distanceTo(other.spot) >= Math.max(m.item.radius + other.radius + 2, 25);
      });
    }), spot = home.add(step || [0, 0]), moved = step && step !== steps[0];
    m.shown = (Boolean(step) || !minor) && !hidden[m.item.kind];
    m.label.style.visibility = "hidden";
    m.spot = spot;
    m.marker.getElement().style.display = m.shown ? "" : "none";
    m.marker.setLatLng(moved ? map.layerPointToLatLng(spot) : m.item.at);
    m.leader.setLatLngs(moved && m.shown ? [m.item.at, m.marker.getLatLng()] : []);
    if (m.shown) { taken.push({spot: spot, radius: m.item.radius}); }
  }
  function crosses(a, b) {
    return a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
  }
  // A name stands beside its mark where it covers least of the road, or not at all.
  function name(m, boxes, road) {
    var w = m.label.offsetWidth, h = m.label.offsetHeight, r = m.item.radius + 3, best = 1e9;
    var seen = view(), found;
    m.label.style.visibility = "hidden";
    [[r, -h / 2], [-r - w, -h / 2], [-w / 2, r], [-w / 2, -r - h],
      [r - 6, r - 6], [-r - w + 6, r - 6], [r - 6, -r - h + 6], [-r - w + 6, -r - h + 6]
    ].forEach(function (side) {
      var x = m.spot.x + side[0], y = m.spot.y + side[1], box = [x, y, x + w, y + h];
      var cost = road.filter(function (p) { return crosses(box, [p.x, p.y, p.x, p.y]); }).length;
      if (cost < best && seen.contains(L.bounds([x, y], [x + w, y + h])) &&
          !boxes.some(function (other) { return crosses(box, other); })) {
        best = cost;
        found = box;
        m.label.style.left = 22 + side[0] + "px";
        m.label.style.top = 22 + side[1] + "px";
        m.label.style.textAlign = side[0] > 0 ? "left" : side[0] < -w ? "right" : "center";
        m.label.style.visibility = "visible";
      }
    });
    if (found) { boxes.push(found); }
  }
  function arrange() {
    var taken = [], road = [], boxes, corner = view().min;
    if (data.twice) {
      roads.forEach(function (r) { r.shape.setLatLngs(beside(r.lines)); });
    }
    data.classes.map(function (c) { return c.lines; }).flat(2).forEach(function (at) {
      var p = map.latLngToLayerPoint(at);
      if (!road.length || p.distanceTo(road[road.length - 1]) > 6) { road.push(p); }
    });
    marks.forEach(function (m) { settle(m, taken); });
    boxes = taken.map(function (t) {
      return [t.spot.x - t.radius, t.spot.y - t.radius, t.spot.x + t.radius, t.spot.y + t.radius];
    });
    boxes.push([corner.x, corner.y, corner.x + 62, corner.y + 106]);
    marks.forEach(function (m) { if (m.shown) { name(m, boxes, road); } });
    arrows.forEach(function (arrow, i) {
      var a = data.arrows[i], aside = data.twice ? 6 : 0, bearing = a[2] * Math.PI / 180;
      var p = map.latLngToLayerPoint(a.slice(0, 2)).add(
        [aside * Math.cos(bearing), aside * Math.sin(bearing)]);
      arrow.setLatLng(map.layerPointToLatLng(p));
      var clear = taken.every(function (t) {
        return p.distanceTo(t.spot) > t.radius + 12;
      });
      arrow.getElement().style.display = clear ? "" : "none";
      if (clear) { taken.push({spot: p, radius: 40}); }
    });
  }
  if (window.matchMedia("(prefers-reduced-motion: reduce)").matches) {
    map.panBy = function (offset, options) {
      return L.Map.prototype.panBy.call(map, offset, {...options, animate: false});
    };
  }
  L.control.scale({metric: data.metric, imperial: !data.metric, maxWidth: 140}).addTo(map);
  map.setMaxZoom(19);
  if (data.tiles) { L.tileLayer(data.tiles, {maxZoom: 19, opacity: 0.6}).addTo(map); }
  function paper(printing) {
    document.body.classList.toggle("printing", printing);
    map.invalidateSize({animate: false});
    fit();
  }
  window.addEventListener("beforeprint", function () { paper(true); });
  window.addEventListener("afterprint", function () { paper(false); });
  map.on("popupopen popupclose", function (event) {
    map.getContainer().classList.toggle("reading", event.type === "popupopen");
  });
  map.getContainer().addEventListener("keydown", function (event) {
    if (event.key === "Escape") { map.closePopup(); }
  });
  map.getContainer().setAttribute("role", "region");
  map.getContainer().setAttribute("aria-label", "Map of the road");
  function fit() {
    var corner = L.bounds([0, 0], [80, 124]);
    var room = {padding: [30, 34], animate: false, maxZoom: 16};
    map.fitBounds(data.bounds, room);
    arrange();
    if (marks.some(function (m) {
      return m.item.level < 2 && corner.contains(map.layerPointToContainerPoint(m.spot));
    })) {
      map.fitBounds(data.bounds, {...room, paddingTopLeft: [88, 34]});
      arrange();
    }
  }
  map.on("zoomend resize", arrange);
  map.on("resize", function (event) {
    if (event.newSize.x !== event.oldSize.x) { fit(); }
  });
  fit();
});
