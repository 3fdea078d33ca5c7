// One garden on the map: lot, structures, zones filled by planting, wires, boxes, sensor, heads. Input: GeoJSON whose
// properties carry `kind` and, where it fits, station, name, plant, is_governing, label, state, is_planned.
// Names come from users: they go through textContent only.
(() => {
  "use strict";
  const Rootround = (window.Rootround ||= {});
  const POINTS = new Set(["controller", "sensor", "valve_box", "sprinkler", "water_meter", "shutoff", "backflow_preventer", "advice"]);
  const ORDER = ["lot", "structure", "zone", "setback", "wire", "sprinkler", "valve_box", "water_meter", "shutoff",
    "backflow_preventer", "controller", "advice", "sensor"];
  const SVG = "http://www.w3.org/2000/svg";

  const lineClass = (p) => {
    if (p.kind === "structure") return `structure structure-${p.type}`;
    if (p.kind === "wire") return p.is_planned ? "wire new" : "wire";
    return p.kind;
  };

  // Our own plain marks, drawn from the page's sprite; the label beside is text.
  const pointIcon = (p) => {
    const el = document.createElement("span");
    el.className = `dev dev-${p.kind}`;
    const svg = document.createElementNS(SVG, "svg");
    svg.setAttribute("viewBox", "0 0 20 20");
    svg.setAttribute("aria-hidden", "true");
    const use = document.createElementNS(SVG, "use");
    use.setAttribute("href", `#d-${p.kind}`);
    svg.append(use);
    el.append(svg);
    if (p.label) {
      const label = document.createElement("b");
      label.textContent = p.label;
      el.append(label);
    }
    return L.divIcon({ html: el, className: "m-anchor", iconSize: [0, 0] });
  };

  const stationIcon = (p) => {
    const el = document.createElement("span");
    el.className = "stnd";
    const ring = document.createElement("span");
    ring.className = p.is_governing ? "sn gov" : "sn";
    ring.textContent = p.station;
    el.append(ring);
    if (p.name) {
      const name = document.createElement("b");
      name.textContent = p.name;
      el.append(name);
    }
    return L.divIcon({ html: el, className: "m-anchor", iconSize: [0, 0] });
  };

  // A point well inside a polygon and clear of devices: places on chords at several heights of its outer ring. With
  // it comes the room at its right [deg of longitude], for the name.
  const inside = (feature, devices) => {
    const rings = feature.geometry.type === "Polygon" ? [feature.geometry.coordinates[0]] : feature.geometry.coordinates.map((p) => p[0]);
    let best = null;
    for (const ring of rings) {
      const lats = ring.map((c) => c[1]);
      const low = Math.min(...lats), high = Math.max(...lats);
      for (let step = 1; step < 10; step += 1) {
        const lat = low + (high - low) * step / 10;
        const cuts = [];
        for (let i = 0; i < ring.length - 1; i += 1) {
          const [x1, y1] = ring[i], [x2, y2] = ring[i + 1];
          if ((y1 > lat) !== (y2 > lat)) cuts.push(x1 + (lat - y1) * (x2 - x1) / (y2 - y1));
        }
        cuts.sort((a, b) => a - b);
        for (let i = 0; i + 1 < cuts.length; i += 2) {
          const wide = cuts[i + 1] - cuts[i];
          for (const part of [0.5, 0.3, 0.7, 0.15]) {
            const lon = cuts[i] + wide * part;
            const near = devices.some(([x, y]) => Math.hypot((x - lon) * 0.75, y - lat) < 4e-5);
            const worth = wide * (1 - Math.abs(step - 5) / 12) * (1 - Math.abs(part - 0.4) / 2) * (near ? 0.15 : 1);
            if (!best || worth > best.worth) best = { worth, at: [lat, lon], room: cuts[i + 1] - lon };
          }
        }
      }
    }
    return best;
  };

  const addZone = (map, group, feature, devices) => {
    const p = feature.properties;
    const code = `zone:${p.controller || ""}/${p.station}`;
    const base = L.geoJSON(feature, { style: { className: `z z-${p.plant}`, weight: 1.2 } });
    const pattern = L.geoJSON(feature, { interactive: false, style: { className: "zfill", fillColor: `url(#zp-${p.plant})`, fillOpacity: 1, stroke: false } });
    base.on("click", () => Rootround.select(code, "map"));
    group.addLayer(base).addLayer(pattern);
    document.addEventListener("rootround:select", (event) => {
      base.eachLayer((layer) => layer.getElement()?.classList.toggle("on", event.detail.code === code));
    });
    const place = feature.geometry && inside(feature, devices);
    if (!place) return;
    const icon = stationIcon(p);
    group.addLayer(L.marker(place.at, { icon, interactive: false, keyboard: false }));
    // The name shows where it fits into its zone at this scale.
    const name = icon.options.html.querySelector("b");
    const fit = () => {
      const from = map.latLngToLayerPoint(place.at), to = map.latLngToLayerPoint([place.at[0], place.at[1] + place.room]);
      const wide = 18 + p.name.length * 6.4;
      const meets = devices.some(([x, y]) => {
        const dot = map.latLngToLayerPoint([y, x]);
        return Math.abs(dot.y - from.y) < 18 && dot.x > from.x && dot.x < from.x + wide + 12;
      });
      if (name) name.hidden = to.x - from.x < wide || meets;
    };
    map.on("zoomend", fit);
    fit();
  };

  // Draws the features; returns the group with its bounds.
  Rootround.drawGarden = (map, collection) => {
    const group = L.featureGroup();
    const devices = collection.features.filter((f) => f.geometry?.type === "Point" && f.properties.kind !== "sprinkler")
      .map((f) => f.geometry.coordinates);
    const sorted = [...collection.features].filter((f) => f.geometry)
      .sort((a, b) => ORDER.indexOf(a.properties.kind) - ORDER.indexOf(b.properties.kind));
    for (const feature of sorted) {
      const p = feature.properties;
      if (p.kind === "zone" && feature.geometry.type !== "Point") addZone(map, group, feature, devices);
      else if (feature.geometry.type === "Point" && POINTS.has(p.kind)) {
        const [lon, lat] = feature.geometry.coordinates;
        group.addLayer(L.marker([lat, lon], { icon: pointIcon(p), interactive: false, keyboard: false }));
      } else if (feature.geometry.type !== "Point") {
        group.addLayer(L.geoJSON(feature, { interactive: false, style: { className: lineClass(p), weight: 1.4 } }));
      }
    }
    return group.addTo(map);
  };
})();
