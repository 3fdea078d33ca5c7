// Draws the state on the map, with handles on what is chosen: corners to drag, marks between them to add one, a mark to
// move all of it. Names come from users: they go through textContent only.
(() => {
  "use strict";
  const Draw = ((window.Rootround ||= {}).Draw ||= {});
  const SVG = "http://www.w3.org/2000/svg";
  const ORDER = ["site", "structure", "zone", "wire", "sprinkler", "valve_box", "water_meter", "shutoff", "backflow_preventer", "controller", "sensor"];
  const VERTEX_PX = 12, EDGE_PX = 9;
  const latLng = ([lon, lat]) => [lat, lon];

  const deviceIcon = (t, isOn) => {
    const el = document.createElement("span");
    el.className = `dev dev-${t.kind}${isOn ? " on" : ""}`;
    const svg = document.createElementNS(SVG, "svg"), use = document.createElementNS(SVG, "use");
    svg.setAttribute("viewBox", "0 0 20 20");
    svg.setAttribute("aria-hidden", "true");
    use.setAttribute("href", `#d-${t.kind}`);
    svg.append(use);
    el.append(svg);
    if (t.kind === "valve_box" || t.kind === "controller" || t.kind === "sensor") {
      const label = document.createElement("b");
      label.textContent = t.kind === "valve_box" ? t.fields.name || "valve box" : t.kind === "sensor" ? "Sensor" : `Controller ${t.fields.controller || ""}`;
      el.append(label);
    }
    return L.divIcon({ html: el, className: "m-anchor hit", iconSize: [24, 24], iconAnchor: [12, 12] });
  };
  const ring = (station, isGoverning) => {
    const el = document.createElement("span");
    el.className = isGoverning ? "sn gov" : "sn";
    el.textContent = station ?? "?";
    return L.divIcon({ html: el, className: "m-anchor", iconSize: [0, 0] });
  };
  const handle = (name) => L.divIcon({ html: document.createElement("i"), className: `draw-h ${name}`, iconSize: [24, 24], iconAnchor: [12, 12] });

  Draw.view = (map, store, ground, hooks) => {
    // What is being drawn lies above what is drawn.
    map.createPane("draw-top").style.zIndex = 450;
    map.getPane("draw-top").style.pointerEvents = "none";
    const top = { pane: "draw-top", renderer: L.svg({ pane: "draw-top", padding: 0.4 }), interactive: false };
    const shapes = L.layerGroup().addTo(map), handles = L.layerGroup().addTo(map), theirs = L.layerGroup().addTo(map);
    let chosen = null, corner = null; // id; [part, ring, index]

    const metres = (p) => ground.xy(p);
    const pixels = (p) => map.latLngToContainerPoint(latLng(p));

    // The nearest corner, else the nearest edge, of another thing; the place itself where none is near.
    const snap = (at, exceptId) => {
      if (!hooks.snaps()) return at;
      const here = pixels(at);
      let best = null;
      for (const t of store.state.values()) {
        if (t.id === exceptId || !t.geo || t.geo.type === "point") continue;
        for (const path of t.geo.parts.flat()) {
          for (const p of path) {
            const away = here.distanceTo(pixels(p));
            if (away < VERTEX_PX && (!best || best.rank > 0 || away < best.away)) best = { at: p, away, rank: 0 };
          }
          if (best?.rank === 0) continue;
          const near = Draw.nearest(metres(at), path.map(metres), t.geo.type === "area");
          const place = near && ground.degrees(near.at), away = place ? here.distanceTo(pixels(place)) : Infinity;
          if (away < EDGE_PX && (!best || away < best.away)) best = { at: place, away, rank: 1 };
        }
      }
      return best ? [...best.at] : at;
    };

    const layerOf = (t) => {
      if (t.geo.type === "point") {
        if (t.kind === "site") return null;
        const [lon, lat] = t.geo.parts[0][0][0];
        return L.marker([lat, lon], { icon: deviceIcon(t, t.id === chosen), keyboard: false, bubblingMouseEvents: true });
      }
      const isOn = t.id === chosen ? " chosen" : "";
      if (t.geo.type === "line") return L.polyline(t.geo.parts.map((part) => part[0].map(latLng)), { className: `${t.kind === "structure" ? `structure structure-${t.fields.type}` : t.kind}${isOn}`, weight: t.kind === "wire" ? 3 : 4, fill: false });
      const places = t.geo.parts.map((part) => part.map((r) => r.map(latLng)));
      const name = t.kind === "zone" ? `z z-${t.fields.plant || "mixed"}` : t.kind === "site" ? "lot" : `structure structure-${t.fields.type || "building"}`;
      return L.polygon(places, { className: name + isOn, weight: 1.2, interactive: t.kind !== "site" || chosen === t.id });
    };

    const render = () => {
      shapes.clearLayers();
      const governing = new Set([...store.state.values()].filter((t) => t.kind === "sensor").map((t) => `${t.fields.controller}/${t.fields.station}`));
      const things = [...store.state.values()].filter((t) => t.geo).sort((a, b) => ORDER.indexOf(a.kind) - ORDER.indexOf(b.kind));
      for (const t of things) {
        const layer = layerOf(t);
        if (!layer) continue;
        layer.on("click", (event) => {
          if (hooks.isDrawing()) return;
          L.DomEvent.stopPropagation(event);
          hooks.choose(t.id);
        });
        shapes.addLayer(layer);
        if (t.kind !== "zone") continue;
        shapes.addLayer(L.polygon(t.geo.parts.map((part) => part.map((r) => r.map(latLng))), { interactive: false, className: "zfill", fillColor: `url(#zp-${t.fields.plant || "mixed"})`, fillOpacity: 1, stroke: false }));
        shapes.addLayer(L.marker(latLng(Draw.middle(t.geo)), { icon: ring(t.fields.station, governing.has(`${t.fields.controller}/${t.fields.station}`)), interactive: false, keyboard: false }));
      }
      renderHandles();
    };

    const drag = (marker, id, during, done) => {
      marker.on("dragstart", () => { hooks.pause(true); });
      marker.on("drag", () => during(marker.getLatLng()));
      marker.on("dragend", () => { hooks.pause(false); done(marker.getLatLng()); });
      handles.addLayer(marker);
    };

    const withCorner = (geo, [p, r, i], at, isNew) => ({
      ...geo,
      parts: geo.parts.map((part, k) => k !== p ? part : part.map((path, m) => m !== r ? path : isNew ? [...path.slice(0, i + 1), at, ...path.slice(i + 1)] : path.map((old, n) => n === i ? at : old))),
    });
    const put = (label, id, geo, tag) => store.commit(label, (next) => next.set(id, { ...next.get(id), geo }), tag);

    // While a corner is dragged the shape follows as an outline; the drawing changes when it is let go.
    const ghost = L.polyline([], { ...top, className: "draw-ghost" }).addTo(map);
    const follow = (geo) => { if (geo) hooks.live(geo); ghost.setLatLngs(geo ? geo.parts.flat().map((path) => (geo.type === "area" ? [...path, path[0]] : path).map(latLng)) : []); };

    const renderHandles = () => {
      handles.clearLayers();
      follow(null);
      const t = store.state.get(chosen);
      if (!t?.geo || hooks.isDrawing()) return;
      const title = { title: "", autoPan: true, draggable: true, keyboard: false };
      if (t.geo.type === "point") {
        if (t.kind === "site") return;
        const marker = L.marker(latLng(t.geo.parts[0][0][0]), { ...title, icon: handle("draw-move") });
        drag(marker, t.id, () => {}, (ll) => put(`moving ${Draw.nameOf(t)}`, t.id, { type: "point", parts: [[[snap([ll.lng, ll.lat], t.id)]]] }));
        return;
      }
      t.geo.parts.forEach((part, p) => part.forEach((path, r) => path.forEach((at, i) => {
        const isOn = corner && corner[0] === p && corner[1] === r && corner[2] === i;
        const marker = L.marker(latLng(at), { ...title, icon: handle(`draw-v${isOn ? " on" : ""}`), zIndexOffset: 500 });
        drag(marker, t.id, (ll) => follow(withCorner(t.geo, [p, r, i], [ll.lng, ll.lat])), (ll) => { corner = [p, r, i]; put("moving a corner", t.id, withCorner(t.geo, [p, r, i], snap([ll.lng, ll.lat], t.id))); });
        marker.on("click", () => { corner = [p, r, i]; renderHandles(); hooks.cornerChosen(); });
        const next = path[(i + 1) % path.length];
        if (t.geo.type === "line" && i === path.length - 1) return;
        if (pixels(at).distanceTo(pixels(next)) < 34) return;
        const between = L.marker([(at[1] + next[1]) / 2, (at[0] + next[0]) / 2], { ...title, icon: handle("draw-m") });
        const add = (place) => { corner = [p, r, i + 1]; put("adding a corner", t.id, withCorner(t.geo, [p, r, i], place, true)); };
        drag(between, t.id, (ll) => follow(withCorner(t.geo, [p, r, i], [ll.lng, ll.lat], true)), (ll) => add(snap([ll.lng, ll.lat], t.id)));
        between.on("click", () => add([(at[0] + next[0]) / 2, (at[1] + next[1]) / 2]));
      })));
      const centre = Draw.middle(t.geo), mover = L.marker(latLng(centre), { ...title, icon: handle("draw-move"), zIndexOffset: 400 });
      const shifted = (ll) => ({ ...t.geo, parts: t.geo.parts.map((part) => part.map((path) => path.map(([x, y]) => [x + ll.lng - centre[0], y + ll.lat - centre[1]]))) });
      drag(mover, t.id, (ll) => follow(shifted(ll)), (ll) => put(`moving ${Draw.nameOf(t)}`, t.id, shifted(ll)));
    };
    map.on("zoomend", renderHandles);

    return {
      render, snap, put, withCorner, top,
      get chosen() { return chosen; },
      get corner() { return corner; },
      choose(id) { chosen = store.state.has(id) ? id : null; corner = null; render(); },
      setCorner(next) { corner = next; renderHandles(); },
      showTheirs(things) {
        theirs.clearLayers();
        for (const t of things) {
          if (!t.geo) continue;
          if (t.geo.type === "point") theirs.addLayer(L.circleMarker(latLng(t.geo.parts[0][0][0]), { ...top, className: "draw-theirs", radius: 9 }));
          else for (const path of t.geo.parts.flat()) theirs.addLayer(L.polyline((t.geo.type === "area" ? [...path, path[0]] : path).map(latLng), { ...top, className: "draw-theirs" }));
        }
      },
      bounds() {
        const places = [...store.state.values()].flatMap((t) => (t.geo ? t.geo.parts.flat(2).map(latLng) : []));
        return places.length ? L.latLngBounds(places) : null;
      },
    };
  };

  // A point inside: the middle of the longest chord at half height of the first ring; of a line its middle corner.
  Draw.middle = (geo) => {
    const path = geo.parts[0][0];
    if (geo.type === "point") return path[0];
    if (geo.type === "line") { const i = Math.floor((path.length - 1) / 2); return [(path[i][0] + path[i + 1][0]) / 2, (path[i][1] + path[i + 1][1]) / 2]; }
    const lats = path.map((p) => p[1]), low = Math.min(...lats), high = Math.max(...lats);
    let best = null;
    for (const share of [0.52, 0.37, 0.67]) {
      const lat = low + (high - low) * share, cuts = [];
      for (const r of geo.parts[0]) r.forEach((a, i) => { const b = r[(i + 1) % r.length]; if ((a[1] > lat) !== (b[1] > lat)) cuts.push(a[0] + (lat - a[1]) * (b[0] - a[0]) / (b[1] - a[1])); });
      cuts.sort((a, b) => a - b);
      for (let i = 0; i + 1 < cuts.length; i += 2) if (!best || cuts[i + 1] - cuts[i] > best.wide * 1.2) best = { wide: cuts[i + 1] - cuts[i], at: [(cuts[i] + cuts[i + 1]) / 2, lat] };
    }
    return best ? best.at : path[0];
  };
})();
