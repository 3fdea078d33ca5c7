// The quiet ground: the company's own layers (blocks, lots, parks, water, streets, names), each drawn as one SVG path
// whose colour comes from the style sheet, so that the theme changes it without a redraw.
(() => {
  "use strict";
  const Rootround = (window.Rootround ||= {});
  const ORDER = ["contours", "blocks", "parks", "lots", "water", "streets", "arterials", "bridges"];
  const AREAS = new Set(["blocks", "parks", "water"]);
  const METRES = { streets: 7, arterials: 12, bridges: 13 }; // width on the ground
  const LEAST_ZOOM = { lots: 15 };

  const flip = (ring) => ring.map(([lon, lat]) => [lat, lon]);

  // All parts of a layer as Leaflet wants them: lines, or polygons with their holes.
  const parts = (features, asArea) => {
    const found = [];
    for (const { geometry } of features) {
      if (!geometry) continue;
      const c = geometry.coordinates;
      if (geometry.type === "Polygon") asArea ? found.push(c.map(flip)) : found.push(...c.map(flip));
      else if (geometry.type === "MultiPolygon") for (const p of c) asArea ? found.push(p.map(flip)) : found.push(...p.map(flip));
      else if (geometry.type === "LineString") found.push(flip(c));
      else if (geometry.type === "MultiLineString") found.push(...c.map(flip));
    }
    return found;
  };

  const pixelsPerMetre = (map) => {
    const lat = map.getCenter().lat * Math.PI / 180;
    return 256 * 2 ** map.getZoom() / (40075016.7 * Math.cos(lat));
  };

  const addNames = (map, features) => {
    for (const { geometry, properties } of features) {
      if (!geometry || geometry.type !== "Point") continue;
      const el = document.createElement("span");
      el.className = properties.kind === "water" ? "m-name water" : properties.kind === "place" ? "m-name place" : "m-name";
      el.textContent = properties.name || "";
      const icon = L.divIcon({ html: el, className: "m-anchor", iconSize: [0, 0] });
      L.marker([geometry.coordinates[1], geometry.coordinates[0]], { icon, interactive: false, keyboard: false, pane: "ground-names" }).addTo(map);
    }
  };

  // layers: {name: FeatureCollection}. Call once a map.
  Rootround.drawGround = (map, layers) => {
    map.createPane("ground").style.zIndex = 210;
    map.createPane("ground-names").style.zIndex = 640;
    for (const pane of ["ground", "ground-names"]) map.getPane(pane).style.pointerEvents = "none";
    const renderer = L.svg({ pane: "ground", padding: 0.4 });
    // Blocks are drawn and streets are the gaps; without blocks the paper itself is the block.
    map.getContainer().classList.toggle("no-blocks", !layers.blocks);
    const drawn = [];
    for (const name of ORDER) {
      const features = (layers[name] && layers[name].features) || [];
      if (!features.length) continue;
      const asArea = AREAS.has(name);
      const make = asArea ? L.polygon : L.polyline;
      const layer = make(parts(features, asArea), {
        renderer, pane: "ground", interactive: false, className: `g-${name}`, smoothFactor: 1, fill: asArea, stroke: true, weight: 1,
      });
      drawn.push([name, layer]);
    }
    const fit = () => {
      const scale = pixelsPerMetre(map);
      for (const [name, layer] of drawn) {
        const hidden = map.getZoom() < (LEAST_ZOOM[name] || 0);
        if (hidden) layer.remove(); else if (!map.hasLayer(layer)) layer.addTo(map);
        if (METRES[name]) layer.setStyle({ weight: Math.max(name === "streets" ? 0.8 : 1.4, METRES[name] * scale) });
      }
    };
    fit();
    map.on("zoomend", fit);
    addNames(map, (layers.names && layers.names.features) || []);
  };
})();
