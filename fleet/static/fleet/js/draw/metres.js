// Areas, crossings, cuts and overlaps in metres east and north of a place. Degrees become metres by the radii of the
// WGS 84 ellipsoid at that latitude, so that areas of a garden agree with the server's to better than a millionth.
// A shape is a list of parts, a part a list of rings (the first the outer one), a ring a list of [x, y] left open.
(() => {
  "use strict";
  const Draw = ((window.Rootround ||= {}).Draw ||= {});
  const A = 6378137, E2 = 0.00669437999014, RAD = Math.PI / 180;

  Draw.ground = (lon0, lat0) => {
    const s = Math.sin(lat0 * RAD), w = 1 - E2 * s * s;
    const kx = A / Math.sqrt(w) * Math.cos(lat0 * RAD) * RAD, ky = A * (1 - E2) / w ** 1.5 * RAD;
    return {
      xy: ([lon, lat]) => [(lon - lon0) * kx, (lat - lat0) * ky],
      degrees: ([x, y]) => [lon0 + x / kx, lat0 + y / ky],
    };
  };

  const cross = (o, a, b) => (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
  const ringArea = (ring) => ring.reduce((sum, p, i) => {
    const q = ring[(i + 1) % ring.length];
    return sum + p[0] * q[1] - p[1] * q[0];
  }, 0) / 2;
  const partArea = ([outer, ...holes]) => Math.abs(ringArea(outer)) - holes.reduce((sum, hole) => sum + Math.abs(ringArea(hole)), 0);
  Draw.area = (parts) => parts.reduce((sum, part) => sum + partArea(part), 0);
  Draw.length = (parts) => parts.flat().reduce((sum, line) => sum + line.slice(1).reduce((part, p, i) => part + Math.hypot(p[0] - line[i][0], p[1] - line[i][1]), 0), 0);

  // Where two segments meet inside both, as shares along each; null where they do not.
  const meet = (a, b, c, d) => {
    const rx = b[0] - a[0], ry = b[1] - a[1], sx = d[0] - c[0], sy = d[1] - c[1], det = rx * sy - ry * sx;
    if (Math.abs(det) < 1e-12) return null;
    const t = ((c[0] - a[0]) * sy - (c[1] - a[1]) * sx) / det, u = ((c[0] - a[0]) * ry - (c[1] - a[1]) * rx) / det;
    return t >= 0 && t <= 1 && u >= 0 && u <= 1 ? { t, u, at: [a[0] + t * rx, a[1] + t * ry] } : null;
  };

  const edges = (parts) => parts.flatMap((part, p) => part.flatMap((ring, r) => ring.map((a, i) => ({ a, b: ring[(i + 1) % ring.length], p, r, i, n: ring.length }))));

  // The first place where an area's edges cross each other, or null.
  Draw.crossing = (parts) => {
    const all = edges(parts);
    for (let i = 0; i < all.length; i += 1) {
      for (let j = i + 1; j < all.length; j += 1) {
        const e = all[i], f = all[j];
        const isNext = e.p === f.p && e.r === f.r && (f.i === e.i + 1 || (e.i === 0 && f.i === e.n - 1));
        const found = !isNext && meet(e.a, e.b, f.a, f.b);
        if (found) return found.at;
      }
    }
    return null;
  };

  const inRing = (p, ring) => {
    let isIn = false;
    for (let i = 0, j = ring.length - 1; i < ring.length; j = i, i += 1) {
      const a = ring[i], b = ring[j];
      if ((a[1] > p[1]) !== (b[1] > p[1]) && p[0] < (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]) + a[0]) isIn = !isIn;
    }
    return isIn;
  };
  Draw.inside = (p, parts) => parts.some(([outer, ...holes]) => inRing(p, outer) && !holes.some((hole) => inRing(p, hole)));

  // Area that two shapes share: each ring is a sum of signed triangles from one point, and two triangles are convex.
  const triangles = (parts) => parts.flatMap((part) => part.flatMap((ring, r) => {
    const wanted = (r ? -1 : 1) * Math.sign(ringArea(ring));
    return ring.slice(2).map((c, i) => {
      const t = [ring[0], ring[i + 1], c], s = cross(...t);
      return { s: Math.sign(s) * wanted, t: s < 0 ? [t[0], t[2], t[1]] : t };
    }).filter((one) => one.s);
  }));
  const clip = (subject, triangle) => {
    let left = subject;
    for (let i = 0; i < 3 && left.length; i += 1) {
      const a = triangle[i], b = triangle[(i + 1) % 3], next = [];
      left.forEach((p, k) => {
        const q = left[(k + 1) % left.length], sp = cross(a, b, p), sq = cross(a, b, q);
        if (sp >= 0) next.push(p);
        if ((sp > 0 && sq < 0) || (sp < 0 && sq > 0)) next.push([p[0] + (q[0] - p[0]) * sp / (sp - sq), p[1] + (q[1] - p[1]) * sp / (sp - sq)]);
      });
      left = next;
    }
    return left;
  };
  const box = (parts) => parts.flat(2).reduce((m, [x, y]) => [Math.min(m[0], x), Math.min(m[1], y), Math.max(m[2], x), Math.max(m[3], y)], [Infinity, Infinity, -Infinity, -Infinity]);
  Draw.overlap = (one, other) => {
    const p = box(one), q = box(other);
    if (p[0] > q[2] || q[0] > p[2] || p[1] > q[3] || q[1] > p[3]) return 0;
    const others = triangles(other);
    return triangles(one).reduce((sum, { s, t }) => sum + others.reduce((part, o) => {
      const shared = clip(t, o.t);
      return shared.length > 2 ? part + s * o.s * Math.abs(ringArea(shared)) : part;
    }, 0), 0);
  };

  // The point of a path nearest to p, and how far [m].
  Draw.nearest = (p, path, isClosed) => {
    let best = null;
    const last = isClosed ? path.length : path.length - 1;
    for (let i = 0; i < last; i += 1) {
      const a = path[i], b = path[(i + 1) % path.length], dx = b[0] - a[0], dy = b[1] - a[1];
      const t = Math.max(0, Math.min(1, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / (dx * dx + dy * dy || 1)));
      const at = [a[0] + t * dx, a[1] + t * dy], away = Math.hypot(p[0] - at[0], p[1] - at[1]);
      if (!best || away < best.away) best = { at, away, i };
    }
    return best;
  };

  // Two parts of one part, cut along a line that enters and leaves it; null where the line does not cross from edge to edge.
  Draw.cut = (part, line) => {
    const [outer, ...holes] = part, hits = [];
    for (let k = 0; k + 1 < line.length; k += 1) {
      outer.forEach((a, i) => {
        const found = meet(line[k], line[k + 1], a, outer[(i + 1) % outer.length]);
        if (found) hits.push({ at: found.at, along: k + found.t, k, i, u: found.u });
      });
    }
    hits.sort((p, q) => p.along - q.along);
    for (let h = 0; h + 1 < hits.length; h += 1) {
      const one = hits[h], two = hits[h + 1];
      const way = [one.at, ...line.slice(one.k + 1, two.k + 1), two.at];
      const middle = [(way[0][0] + way[1][0]) / 2, (way[0][1] + way[1][1]) / 2];
      if (Math.hypot(one.at[0] - two.at[0], one.at[1] - two.at[1]) < 0.02 || !inRing(middle, outer)) continue;
      if (holes.some((hole) => hole.some((a, i) => way.slice(1).some((q, w) => meet(way[w], q, a, hole[(i + 1) % hole.length]))))) return null;
      const walk = (from, to) => {
        const points = [];
        if (from.i === to.i && from.u <= to.u) return points;
        for (let i = from.i; ;) {
          i = (i + 1) % outer.length;
          points.push(outer[i]);
          if (i === to.i) return points;
        }
      };
      const tidy = (ring) => ring.filter((p, i) => { const q = ring[(i + 1) % ring.length]; return Math.hypot(p[0] - q[0], p[1] - q[1]) > 0.005; });
      const rings = [tidy([...way, ...walk(two, one)]), tidy([...[...way].reverse(), ...walk(one, two)])];
      if (rings.some((ring) => ring.length < 3 || Math.abs(ringArea(ring)) < 0.1)) continue;
      return rings.map((ring) => [ring, ...holes.filter((hole) => inRing(hole[0], ring))]);
    }
    return null;
  };
})();
