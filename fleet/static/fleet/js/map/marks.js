// State marks on Leaflet's canvas: circle = in order, triangle = act, square = watch, diamond = too little data or
// cannot tell, ring = resting. Canvas cannot read the style sheet, so the tokens are read here, again on a change of theme.
(() => {
  "use strict";
  const Rootround = (window.Rootround ||= {});

  const trace = {
    ok: (c, x, y, r) => c.arc(x, y, r * 0.8, 0, 2 * Math.PI),
    rest: (c, x, y, r) => c.arc(x, y, r * 0.85, 0, 2 * Math.PI),
    act: (c, x, y, r) => { c.moveTo(x, y - r * 1.15); c.lineTo(x + r * 1.2, y + r * 0.9); c.lineTo(x - r * 1.2, y + r * 0.9); },
    watch: (c, x, y, r) => c.rect(x - r * 0.9, y - r * 0.9, r * 1.8, r * 1.8),
    few: (c, x, y, r) => { c.moveTo(x, y - r * 1.2); c.lineTo(x + r * 1.2, y); c.lineTo(x, y + r * 1.2); c.lineTo(x - r * 1.2, y); },
  };

  L.Canvas.include({
    _updateStateMark(layer) {
      if (!this._drawing || layer._empty()) return;
      const at = layer._point;
      this._ctx.beginPath();
      trace[layer.options.shape](this._ctx, at.x, at.y, layer._radius);
      this._ctx.closePath();
      this._ctx.lineJoin = "round";
      this._fillStroke(this._ctx, layer);
    },
  });

  Rootround.StateMark = L.CircleMarker.extend({
    _updatePath() { this._renderer._updateStateMark(this); },
  });

  const token = (style, name) => style.getPropertyValue(name).trim();

  // The paint of each shape in the theme that is on now.
  Rootround.markPaint = () => {
    const style = getComputedStyle(document.documentElement);
    const paint = {};
    for (const shape of ["ok", "act", "watch", "few"]) {
      paint[shape] = { color: token(style, `--${shape}-ink`), fillColor: token(style, `--${shape}`), fillOpacity: 1, weight: 1.2 };
    }
    paint.rest = { color: token(style, "--rest-ink"), fillColor: token(style, "--m-street"), fillOpacity: 1, weight: 2 };
    paint.on = { color: token(style, "--ink"), weight: 2.8 };
    return paint;
  };
})();
