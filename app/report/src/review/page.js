"use strict";
(() => {
  const byId = (id) => document.getElementById(id);
  const root = document.documentElement;
  const canvas = byId("part");
  const says = byId("says");
  const facts = JSON.parse(byId("view-facts").textContent);
  const bytes = (id) => {
    const text = atob(byId(id).textContent.trim());
    const out = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) out[i] = text.charCodeAt(i);
    return out;
  };
  // Kept after each picture so that it can be looked at again: the page is drawn on demand.
  const gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true });
  if (!gl) { root.classList.add("no-view"); return; }

  const shader = (kind, source) => {
    const made = gl.createShader(kind);
    gl.shaderSource(made, source);
    gl.compileShader(made);
    if (!gl.getShaderParameter(made, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(made));
    return made;
  };
  const program = gl.createProgram();
  gl.attachShader(program, shader(gl.VERTEX_SHADER, byId("vertex-shader").textContent.trim()));
  gl.attachShader(program, shader(gl.FRAGMENT_SHADER, byId("fragment-shader").textContent.trim()));
  gl.linkProgram(program);
  if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program));
  gl.useProgram(program);
  const uniform = (name) => gl.getUniformLocation(program, name);

  const vertices = bytes("vertices");
  gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
  gl.bufferData(gl.ARRAY_BUFFER, vertices, gl.STATIC_DRAW);
  // Three coordinates and a class, each of two bytes.
  gl.enableVertexAttribArray(0);
  gl.vertexAttribPointer(0, 3, gl.UNSIGNED_SHORT, true, 8, 0);
  gl.enableVertexAttribArray(1);
  gl.vertexAttribIPointer(1, 1, gl.UNSIGNED_SHORT, 8, 6);
  gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
  const indices = bytes("indices");
  gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, indices, gl.STATIC_DRAW);
  const count = indices.length / 4;

  const texture = (id) => {
    const made = gl.createTexture();
    gl.bindTexture(gl.TEXTURE_2D, made);
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB8, facts.classes, facts.rows, 0, gl.RGB, gl.UNSIGNED_BYTE, bytes(id));
    for (const name of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, name, gl.NEAREST);
    return made;
  };
  const colours = { asked: texture("colours-asked"), printed: texture("colours-printed"), off: texture("colours-off") };

  const size = facts.size_mm;
  const reach = Math.hypot(size[0], size[1], size[2]) / 2;
  const views = {
    "front right": [32, 28], front: [0, 4], right: [90, 4], back: [180, 4], left: [270, 4], top: [0, 89],
  };
  const names = { asked: "as requested", printed: "as printed", off: "difference between the two" };
  const state = { turn: 32, tilt: 28, zoom: 1, show: "printed" };

  const multiply = (a, b) => {
    const out = new Float32Array(16);
    for (let c = 0; c < 4; c++) for (let r = 0; r < 4; r++) {
      let sum = 0;
      for (let k = 0; k < 4; k++) sum += a[k * 4 + r] * b[c * 4 + k];
      out[c * 4 + r] = sum;
    }
    return out;
  };
  let asked = false;
  const draw = () => {
    asked = false;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const width = Math.max(1, Math.round(canvas.clientWidth * ratio));
    const height = Math.max(1, Math.round(canvas.clientHeight * ratio));
    if (canvas.width !== width || canvas.height !== height) { canvas.width = width; canvas.height = height; }
    gl.viewport(0, 0, width, height);
    gl.clearColor(1, 1, 1, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    const [turn, tilt] = [state.turn, state.tilt].map((deg) => (deg * Math.PI) / 180);
    const [ct, st, cl, sl] = [Math.cos(turn), Math.sin(turn), Math.cos(tilt), Math.sin(tilt)];
    // From the part, z up, to the eye: x to the right, y up, z towards the eye.
    const right = [ct, st, 0], toward = [st * cl, -ct * cl, sl], up = [-st * sl, ct * sl, cl];
    const away = (reach * 2.95) / state.zoom;
    const look = new Float32Array(16);
    [right, up, toward].forEach((axis, row) => axis.forEach((v, column) => { look[column * 4 + row] = v; }));
    look[14] = -away; look[15] = 1;
    const near = Math.max(away - reach * 1.2, reach * 0.02), far = away + reach * 1.2;
    const focus = 1 / Math.tan((20 * Math.PI) / 180);
    const narrow = Math.min(1, width / height);
    const lens = new Float32Array(16);
    lens[0] = (focus * narrow * height) / width; lens[5] = focus * narrow;
    lens[10] = (far + near) / (near - far); lens[11] = -1; lens[14] = (2 * far * near) / (near - far);
    gl.uniformMatrix4fv(uniform("u_look"), false, look);
    gl.uniformMatrix4fv(uniform("u_all"), false, multiply(lens, look));
    gl.uniform3fv(uniform("u_size"), size);
    gl.uniform3fv(uniform("u_up"), [right[2], up[2], toward[2]]);
    gl.uniform1f(uniform("u_rows"), facts.rows);
    gl.uniform1i(uniform("u_plain"), state.show === "off" ? 1 : 0);
    gl.bindTexture(gl.TEXTURE_2D, colours[state.show]);
    gl.drawElements(gl.TRIANGLES, count, gl.UNSIGNED_INT, 0);
  };
  const later = () => { if (!asked) { asked = true; requestAnimationFrame(draw); } };
  const tell = () => {
    const found = Object.entries(views).find(([, v]) => v[0] === state.turn && v[1] === state.tilt);
    const from = found ? `from the ${found[0]}` : `turned ${Math.round(state.turn)}°, from ${Math.round(state.tilt)}° above`;
    says.textContent = `Shown ${names[state.show]}, seen ${from}.`;
    for (const button of document.querySelectorAll("[data-show]")) {
      button.setAttribute("aria-pressed", String(button.dataset.show === state.show));
    }
    byId("off-scale").hidden = state.show !== "off";
    canvas.dataset.turn = String(state.turn);
    canvas.dataset.show = state.show;
    later();
  };
  const turn = (by, tilt) => {
    state.turn = (((state.turn + by) % 360) + 360) % 360;
    state.tilt = Math.max(-89, Math.min(89, state.tilt + tilt));
    tell();
  };
  const zoom = (by) => { state.zoom = Math.max(0.4, Math.min(12, state.zoom * by)); later(); };
  const see = (name) => { [state.turn, state.tilt] = views[name]; state.zoom = 1; tell(); };
  const acts = {
    left: () => turn(-15, 0), right: () => turn(15, 0), up: () => turn(0, 10), down: () => turn(0, -10),
    in: () => zoom(1.25), out: () => zoom(0.8),
  };
  const keys = { ArrowLeft: acts.left, ArrowRight: acts.right, ArrowUp: acts.up, ArrowDown: acts.down,
    "+": acts.in, "=": acts.in, "-": acts.out, Home: () => see("front right"), 0: () => see("front right"),
    1: () => show("printed"), 2: () => show("asked"), 3: () => show("off") };
  const show = (name) => { state.show = name; tell(); };
  canvas.addEventListener("keydown", (event) => {
    const act = keys[event.key];
    if (act && !event.ctrlKey && !event.metaKey && !event.altKey) { act(); event.preventDefault(); }
  });
  for (const button of document.querySelectorAll("[data-act]")) button.addEventListener("click", acts[button.dataset.act]);
  for (const button of document.querySelectorAll("[data-see]")) button.addEventListener("click", () => see(button.dataset.see));
  for (const button of document.querySelectorAll("[data-show]")) button.addEventListener("click", () => show(button.dataset.show));
  let held = null;
  canvas.addEventListener("pointerdown", (event) => { held = [event.clientX, event.clientY]; canvas.setPointerCapture(event.pointerId); });
  canvas.addEventListener("pointermove", (event) => {
    if (!held) return;
    turn((held[0] - event.clientX) * 0.4, (event.clientY - held[1]) * 0.4);
    held = [event.clientX, event.clientY];
  });
  for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, () => { held = null; });
  // The wheel scrolls the page, unless the view has the keys.
  canvas.addEventListener("wheel", (event) => {
    if (document.activeElement !== canvas) return;
    event.preventDefault();
    zoom(Math.exp(-event.deltaY * 0.0015));
  }, { passive: false });
  canvas.addEventListener("webglcontextlost", (event) => { event.preventDefault(); root.classList.add("no-view"); });
  new ResizeObserver(later).observe(canvas);
  tell();
  draw();
})();
