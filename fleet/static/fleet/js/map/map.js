// Starts every .map[data-leaflet] of the page. folium has already made the Leaflet map (window[data-leaflet]); here come
// the ground, the sites, the routes' tags, the garden, and the selection shared with list and board.
//   data-ground  address of the ground layers {name: FeatureCollection}
//   data-sites   address of the sites {sites: [[code, lon, lat, shape, name]], depots: [[lon, lat, name]]}
//   data-shapes  address of one garden's GeoJSON (see garden.js)
//   data-stops   id of a json_script: [{site, lon, lat, route, order}]
(() => {
  "use strict";
  const Rootround = (window.Rootround ||= {});
  Rootround.select = (code, from) => window.rootroundSelect(code, from);
  const DRAW_ORDER = ["ok", "rest", "few", "watch", "act"];

  const load = async (address) => {
    const answer = await fetch(address, { headers: { Accept: "application/json" }, credentials: "same-origin" });
    if (!answer.ok) throw new Error(`${answer.status}`);
    return answer.json();
  };

  const textLines = (...lines) => {
    const el = document.createElement("div");
    lines.filter(Boolean).forEach((line, i) => {
      const part = document.createElement(i ? "span" : "b");
      part.textContent = line;
      el.append(part);
    });
    return el;
  };

  const say = (holder, text) => {
    const el = document.createElement("p");
    el.className = "mapsay";
    el.setAttribute("role", "status");
    el.textContent = text;
    holder.append(el);
  };

  const addDepots = (map, depots) => {
    for (const [lon, lat, name] of depots) {
      const el = document.createElement("span");
      el.className = "depotd";
      el.append(document.createElement("i"), textLines(name));
      L.marker([lat, lon], { icon: L.divIcon({ html: el, className: "m-anchor", iconSize: [0, 0] }), interactive: false, keyboard: false }).addTo(map);
    }
  };

  const addSites = (map, rows, words) => {
    map.createPane("sites").style.zIndex = 450;
    const renderer = L.canvas({ pane: "sites", padding: 0.3, tolerance: 4 });
    let paint = Rootround.markPaint();
    const marks = new Map();
    const radius = () => (map.getZoom() >= 15 ? 6.6 : map.getZoom() >= 13 ? 5.4 : 4.2);
    const tip = L.tooltip({ direction: "top", offset: [0, -8], className: "maptip" });
    const group = L.featureGroup();
    const sorted = [...rows].sort((a, b) => DRAW_ORDER.indexOf(a[3]) - DRAW_ORDER.indexOf(b[3]));
    for (const [code, lon, lat, shape, name] of sorted) {
      const mark = new Rootround.StateMark([lat, lon], { renderer, pane: "sites", shape, radius: radius(), bubblingMouseEvents: false, ...paint[shape] });
      mark.site = { code, name, shape };
      marks.set(code, mark);
      group.addLayer(mark);
    }
    group.on("click", (event) => Rootround.select(event.layer.site.code, "map"));
    group.on("mouseover", (event) => {
      const { code, name, shape } = event.layer.site;
      tip.setContent(textLines(`${code} ${name}`, words[shape])).setLatLng(event.layer.getLatLng()).openOn(map);
    });
    group.on("mouseout", () => tip.close());
    group.addTo(map);
    let on = null;
    const show = (code) => {
      if (on) on.setStyle(paint[on.options.shape]).setRadius(radius());
      on = marks.get(code) || null;
      if (on) on.setStyle(paint.on).setRadius(radius() + 2).bringToFront();
      return on;
    };
    document.addEventListener("rootround:select", (event) => {
      const mark = show(event.detail.code);
      if (mark && event.detail.from !== "map" && !map.getBounds().pad(-0.1).contains(mark.getLatLng())) map.panTo(mark.getLatLng());
    });
    document.addEventListener("rootround:theme", () => {
      paint = Rootround.markPaint();
      for (const mark of marks.values()) mark.setStyle(paint[mark.options.shape]);
      if (on) on.setStyle(paint.on);
    });
    map.on("zoomend", () => { for (const mark of marks.values()) mark.setRadius(mark === on ? radius() + 2 : radius()); });
    return group;
  };

  // Route numbers, and the order of the stops of the route in hand. Tags keep clear of each other by hiding.
  const addStops = (map, holder, stops) => {
    const layer = L.layerGroup().addTo(map);
    const tag = (stop, text, className) => {
      const el = document.createElement("span");
      el.className = className;
      el.textContent = text;
      return L.marker([stop.lat, stop.lon], { icon: L.divIcon({ html: el, className: "m-anchor", iconSize: [0, 0] }), interactive: false, keyboard: false });
    };
    const draw = (route) => {
      layer.clearLayers();
      const first = new Map();
      for (const stop of stops) {
        if (stop.route === route) layer.addLayer(tag(stop, stop.order, "m-tagd on"));
        else if (!first.has(stop.route)) first.set(stop.route, stop);
      }
      for (const [number, stop] of first) layer.addLayer(tag(stop, number, "m-tagd"));
      for (const path of holder.querySelectorAll(".route, .route-c")) path.classList.toggle("on", path.classList.contains(`r-${route}`));
    };
    draw(null);
    document.addEventListener("rootround:route", (event) => draw(event.detail));
  };

  const wire = (map, holder) => {
    const frame = holder.closest(".mapbox") || holder;
    frame.addEventListener("click", (event) => {
      const act = event.target.closest("[data-act]")?.dataset.act;
      if (act === "map-in") map.zoomIn();
      if (act === "map-out") map.zoomOut();
    });
    map.scrollWheelZoom.disable();
    map.on("focus", () => map.scrollWheelZoom.enable());
    map.on("blur", () => map.scrollWheelZoom.disable());
    // Paper is light: the marks are painted again for the printer.
    let theme = null;
    addEventListener("beforeprint", () => { theme = document.documentElement.dataset.theme; if (theme.endsWith("dark")) repaint("light"); });
    addEventListener("afterprint", () => { if (theme.endsWith("dark")) repaint("dark"); });
  };
  const repaint = (theme) => {
    document.documentElement.dataset.theme = theme;
    document.dispatchEvent(new CustomEvent("rootround:theme", { detail: theme }));
  };

  const start = async (holder) => {
    const map = window[holder.dataset.leaflet];
    if (!map) return say(holder, "The map could not be drawn. Everything on it is in the list.");
    wire(map, holder);
    const words = { ok: "In order", act: "Act", watch: "Watch", few: "Too little data", rest: "Resting" };
    const failed = [];
    // All are asked for at once, and drawn in order.
    const asked = new Map(["ground", "sites", "shapes"].filter((key) => holder.dataset[key]).map((key) => [key, load(holder.dataset[key])]));
    for (const promise of asked.values()) promise.catch(() => {});
    const step = async (key, draw) => {
      if (!asked.has(key)) return;
      try { draw(await asked.get(key)); } catch { failed.push(key); }
    };
    await step("ground", (layers) => Rootround.drawGround(map, layers));
    await step("sites", (data) => { addSites(map, data.sites, words); addDepots(map, data.depots || []); });
    await step("shapes", (collection) => {
      const bounds = Rootround.drawGarden(map, collection).getBounds();
      if (bounds.isValid()) map.fitBounds(bounds, { padding: [16, 16], maxZoom: 20 });
    });
    const stops = holder.dataset.stops && document.getElementById(holder.dataset.stops);
    if (stops) addStops(map, holder, JSON.parse(stops.textContent));
    if (failed.length) say(holder, "Part of the map could not be loaded. Everything on it is in the list; load the page again to try once more.");
    holder.dataset.ready = failed.length ? "part" : "yes";
  };

  document.addEventListener("DOMContentLoaded", () => document.querySelectorAll(".map[data-leaflet]").forEach((holder) => { start(holder); }));
})();
