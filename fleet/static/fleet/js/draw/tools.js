// What one draws with: areas, lines, points, a cut and a hole; by mouse, by touch, and by keyboard with the cross in the
// middle of the map. Enter closes, Escape leaves, Backspace takes the last corner back.
(() => {
  "use strict";
  const Draw = ((window.Rootround ||= {}).Draw ||= {});
  const latLng = ([lon, lat]) => [lat, lon];
  const DEVICES = ["controller", "valve_box", "sprinkler", "sensor", "water_meter", "shutoff", "backflow_preventer"];

  Draw.tools = (map, store, view, ground, page) => {
    let tool = null, points = [];
    const sketch = L.polyline([], { ...view.top, className: "draw-sketch" }).addTo(map);
    const dots = L.layerGroup().addTo(map);
    const metres = (path) => path.map(ground.xy);

    const show = () => {
      sketch.setLatLngs((tool?.shape === "area" && points.length > 2 ? [...points, points[0]] : points).map(latLng));
      dots.clearLayers();
      points.forEach((p, i) => dots.addLayer(L.circleMarker(latLng(p), { ...view.top, className: i ? "draw-dot" : "draw-dot first", radius: i ? 4 : 6 })));
      page.toolChanged(tool, points, tool?.shape === "area" && points.length > 2 ? Draw.area([[metres(points)]]) : tool?.shape === "line" && points.length > 1 ? Draw.length([[metres(points)]]) : null);
    };

    const start = (name, kind, shape) => { tool = { name, kind, shape }; points = []; map.getContainer().classList.add("drawing"); map.doubleClickZoom.disable(); view.setCorner(null); show(); };
    const leave = () => { tool = null; points = []; map.getContainer().classList.remove("drawing"); map.doubleClickZoom.enable(); show(); view.render(); };

    const freeStation = (code) => {
      const used = new Set([...store.state.values()].filter((t) => t.kind === "zone" && t.fields.controller === code).map((t) => Number(t.fields.station)));
      const timer = [...store.state.values()].find((t) => t.kind === "controller" && t.fields.controller === code);
      for (let n = 1; n <= Number(timer?.fields.station_count || 0); n += 1) if (!used.has(n)) return n;
      return null;
    };
    const firstTimer = () => [...store.state.values()].find((t) => t.kind === "controller")?.fields.controller ?? "";
    const zoneAt = (at) => [...store.state.values()].find((t) => t.kind === "zone" && t.geo && Draw.inside(ground.xy(at), t.geo.parts.map((part) => part.map(metres))));

    // What a new thing says of itself, taken from where it stands.
    const fresh = (kind, at) => {
      const chosen = store.state.get(view.chosen), zone = zoneAt(at);
      if (kind === "zone") { const code = firstTimer(); return { name: "", controller: code, station: freeStation(code), plant: "", head: "", sun: "full" }; }
      if (kind === "structure") return { type: "building" };
      if (kind === "valve_box") { let n = 1; const names = new Set([...store.state.values()].map((t) => t.kind === "valve_box" && t.fields.name)); while (names.has(`box ${n}`)) n += 1; return { name: `box ${n}`, spare_wires: null }; }
      if (kind === "sprinkler") return { zone: (zone || (chosen?.kind === "zone" && chosen))?.id || "" };
      if (kind === "sensor") return { controller: zone?.fields.controller ?? firstTimer(), station: zone?.fields.station ?? null };
      if (kind === "controller") { const codes = new Set([...store.state.values()].filter((t) => t.kind === "controller").map((t) => t.fields.controller)); return { controller: [..."ABCDEFGHIJ"].find((c) => !codes.has(c)) || "", station_count: 8, assumed: "" }; }
      return {};
    };

    const add = (kind, geo, at, fields) => {
      const id = store.newId();
      const t = { id, kind, fields: fields || fresh(kind, at), geo };
      store.commit(`drawing ${kind.replaceAll("_", " ")}`, (next) => next.set(id, t));
      return id;
    };

    const cut = () => {
      const t = store.state.get(tool.on);
      const pieces = t?.geo.parts.map((part) => Draw.cut(part.map(metres), metres(points)));
      const at = pieces ? pieces.findIndex(Boolean) : -1;
      if (at < 0) return page.say("The line must cross the shape from edge to edge, and no hole.", true);
      const degrees = (part) => part.map((ring) => ring.map(ground.degrees));
      const [one, two] = pieces[at].sort((a, b) => Draw.area([b]) - Draw.area([a])).map(degrees);
      const id = store.newId();
      let fields = { ...t.fields };
      if (t.kind === "zone") fields = { ...fields, station: freeStation(t.fields.controller), name: t.fields.name ? `${t.fields.name} 2` : "" };
      store.commit(`cutting ${Draw.nameOf(t)} in two`, (next) => {
        next.set(t.id, { ...t, geo: { ...t.geo, parts: t.geo.parts.map((part, k) => (k === at ? one : part)) } });
        next.set(id, { id, kind: t.kind, fields, geo: { type: "area", parts: [two] } });
      });
      return page.say(t.kind === "zone" ? `Cut in two. The smaller part is a zone of its own${fields.station ? `, on station ${fields.station}` : ": give it a station"}.` : "Cut in two.");
    };

    const hole = () => {
      const t = store.state.get(tool.on), ring = points;
      const at = t?.geo.parts.findIndex((part) => ring.every((p) => Draw.inside(ground.xy(p), [part.map(metres)])));
      if (!(at >= 0)) return page.say("Every corner of the hole must lie inside the shape.", true);
      return view.put(`cutting a hole into ${Draw.nameOf(t)}`, t.id, { ...t.geo, parts: t.geo.parts.map((part, k) => (k === at ? [...part, ring] : part)) });
    };

    const finish = () => {
      if (!tool) return;
      const need = tool.shape === "area" ? 3 : 2;
      if (points.length < need) { page.say(`It needs at least ${need} corners.`, true); return; }
      const done = tool, path = points;
      if (done.name === "cut") cut();
      else if (done.name === "hole") hole();
      else if (done.kind === "site") {
        const lot = [...store.state.values()].find((t) => t.kind === "site");
        view.put("drawing the lot", lot.id, { type: "area", parts: [[path]] });
        page.choose(lot.id);
      } else {
        const geo = { type: done.shape, parts: [[path]] };
        const id = add(done.kind, geo, Draw.middle(geo), done.name === "wall" ? { type: "wall" } : null);
        leave();
        page.choose(id, true);
        return;
      }
      leave();
    };

    const place = (at) => {
      if (!tool) return;
      const where = view.snap(at, null);
      if (tool.shape === "point") {
        const kind = tool.kind;
        const id = add(kind, { type: "point", parts: [[[kind === "sprinkler" || kind === "sensor" ? at : where]]] }, at);
        if (kind !== "sprinkler") leave();
        page.choose(id, kind !== "sprinkler");
        return;
      }
      const first = points[0];
      if (tool.shape === "area" && points.length > 2 && map.latLngToContainerPoint(latLng(first)).distanceTo(map.latLngToContainerPoint(latLng(at))) < 14) { finish(); return; }
      const end = points.at(-1);
      if (end && map.latLngToContainerPoint(latLng(end)).distanceTo(map.latLngToContainerPoint(latLng(where))) < 2) return; // the second click of a double click
      points = [...points, where];
      show();
    };

    map.on("click", (event) => { if (tool) place([event.latlng.lng, event.latlng.lat]); else page.choose(null); });
    map.on("dblclick", () => { if (tool && tool.shape !== "point") finish(); });
    map.on("mousemove", (event) => { if (tool && tool.shape !== "point" && points.length) sketch.setLatLngs([...points, [event.latlng.lng, event.latlng.lat]].map(latLng)); });

    return {
      get tool() { return tool; },
      leave, finish,
      placeAtCross() { const c = map.getCenter(); place([c.lng, c.lat]); },
      back() { points = points.slice(0, -1); show(); },
      begin(name) {
        if (name === "cut" || name === "hole") {
          if (store.state.get(view.chosen)?.geo?.type !== "area") return page.say("Choose a zone or structure first.", true);
          start(name, "", name === "cut" ? "line" : "area");
          tool.on = view.chosen;
          return undefined;
        }
        if (DEVICES.includes(name)) return start(name, name, "point");
        if (name === "wire") return start(name, "wire", "line");
        if (name === "wall") return start(name, "structure", "line");
        return start(name, name === "lot" ? "site" : name, "area");
      },
    };
  };
})();
