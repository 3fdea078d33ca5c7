// What is wrong with the drawing as it stands on the page; the server looks again when it is saved.
(() => {
  "use strict";
  const Draw = ((window.Rootround ||= {}).Draw ||= {});
  const SHARE = 0.05; // less than this is the drawing's own roughness, as for the server

  Draw.nameOf = (t) => {
    const f = t.fields;
    const word = t.kind.replaceAll("_", " ");
    if (t.kind === "zone") return f.name ? `${f.station ?? "?"} ${f.name}` : `zone ${f.controller || "?"}/${f.station ?? "?"}`;
    if (t.kind === "controller") return `controller ${f.controller || "?"}`;
    if (t.kind === "sensor") return `sensor of ${f.controller || "?"}`;
    if (t.kind === "valve_box") return `valve box ${f.name || ""}`.trim();
    if (t.kind === "structure") return f.type || word;
    if (t.kind === "site") return "lot";
    return word;
  };

  Draw.problems = (state, ground) => {
    const found = [];
    const say = (t, field, text, refuses = false) => found.push({ id: t.id, field, reason: text, refuses });
    const metres = new Map();
    for (const t of state.values()) {
      if (t.geo?.type !== "area") continue;
      const parts = t.geo.parts.map((part) => part.map((ring) => ring.map(ground.xy)));
      metres.set(t.id, parts);
      if (Draw.crossing(parts)) say(t, "geometry", "self-crossing: its edge crosses itself", true);
    }
    const things = [...state.values()];
    const lot = metres.get(things.find((t) => t.kind === "site")?.id);
    const zones = things.filter((t) => t.kind === "zone" && metres.has(t.id));
    zones.forEach((zone, i) => {
      const mine = metres.get(zone.id), area = Draw.area(mine);
      if (lot) {
        const out = 1 - Draw.overlap(mine, lot) / area;
        if (out > SHARE) say(zone, "geometry", `outside the lot: ${Math.round(out * 100)} % of it`);
      }
      for (const other of zones.slice(i + 1)) {
        const theirs = metres.get(other.id), share = Draw.overlap(mine, theirs) / Math.min(area, Draw.area(theirs));
        if (share > SHARE) say(zone, "geometry", `overlap: ${Math.round(share * 100)} % of the smaller shared with ${Draw.nameOf(other)}`);
      }
    });
    for (const sensor of things.filter((t) => t.kind === "sensor" && t.geo)) {
      const zone = zones.find((z) => Draw.same(z.fields.controller, sensor.fields.controller) && Draw.same(z.fields.station, sensor.fields.station));
      const at = ground.xy(sensor.geo.parts[0][0][0]);
      if (zone && !Draw.inside(at, metres.get(zone.id))) say(sensor, "geometry", `it stands outside the zone that it governs by (${Draw.nameOf(zone)})`);
    }
    for (const zone of things.filter((t) => t.kind === "zone")) {
      for (const name of ["controller", "station", "plant", "head"]) if ((zone.fields[name] ?? "") === "") say(zone, name, "a value is needed here", true);
    }
    return found;
  };
})();
