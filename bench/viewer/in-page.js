// Runs in the page before anything of it: what the viewer bench asks of the page stands in `bench`.

/** Calls of WebGL that upload pixels. */
let uploads = 0;
for (const name of ['texImage2D', 'texSubImage2D']) {
  const upload = WebGL2RenderingContext.prototype[name];
  WebGL2RenderingContext.prototype[name] = function (...args) {
    uploads++;
    return upload.apply(this, args);
  };
}

/** Drags the frame by a few pixels at each refresh, there and back; returns ms a refresh. */
async function pan(frames) {
  const view = document.querySelector('[role="application"]');
  const box = view.getBoundingClientRect();
  const send = (type, x) =>
    view.dispatchEvent(
      new PointerEvent(type, {
        pointerId: 7,
        isPrimary: true,
        bubbles: true,
        button: 0,
        buttons: type === 'pointerup' ? 0 : 1,
        clientX: box.left + x,
        clientY: box.top + box.height / 2,
      }),
    );
  const middle = box.width / 2;
  const refresh = () => new Promise((resolve) => requestAnimationFrame(resolve));
  Element.prototype.setPointerCapture = () => {};
  Element.prototype.releasePointerCapture = () => {};
  send('pointerdown', middle);
  await refresh();
  const begun = performance.now();
  for (let i = 1; i <= frames; i++) {
    const way = i <= frames / 2 ? i : frames - i;
    send('pointermove', middle + 3 * way);
    await refresh();
  }
  const took = (performance.now() - begun) / frames;
  send('pointerup', middle);
  return took;
}

/** Fills a canvas of the viewer's size, laid where the viewer is, by one colour at each refresh. */
async function emptyShader(frames) {
  const host = document.querySelector('[role="application"]');
  const theirs = host.querySelector('canvas');
  const canvas = document.createElement('canvas');
  canvas.width = theirs.width;
  canvas.height = theirs.height;
  canvas.style.cssText = 'position:absolute;inset:0;width:100%;height:100%';
  host.append(canvas);
  const gl = canvas.getContext('webgl2', { alpha: false, antialias: false, depth: false });
  const program = gl.createProgram();
  for (const [kind, source] of [
    [
      gl.VERTEX_SHADER,
      `#version 300 es
void main() { gl_Position = vec4(vec2(gl_VertexID & 1, gl_VertexID >> 1) * 2.0 - 1.0, 0.0, 1.0); }`,
    ],
    [
      gl.FRAGMENT_SHADER,
      `#version 300 es
precision highp float; uniform float shade; out vec4 colour; void main() { colour = vec4(shade, shade, shade, 1.0); }`,
    ],
  ]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, source);
    gl.compileShader(shader);
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  gl.useProgram(program);
  const shade = gl.getUniformLocation(program, 'shade');
  const draw = (i) => {
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.uniform1f(shade, (i % 8) / 8);
    gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
  };
  const refresh = () => new Promise((resolve) => requestAnimationFrame(resolve));
  for (let i = 0; i < 10; i++) {
    draw(i);
    await refresh();
  }
  const begun = performance.now();
  for (let i = 0; i < frames; i++) {
    draw(i);
    await refresh();
  }
  const took = (performance.now() - begun) / frames;
  gl.getExtension('WEBGL_lose_context')?.loseContext();
  canvas.remove();
  return took;
}

/** Milliseconds from the next choice of a file to the first refresh that holds its verdict. */
const untilVerdict = () =>
  new Promise((resolve) => {
    document.querySelector('[data-testid="picker"]').addEventListener(
      'change',
      () => {
        const begun = performance.now();
        let gone = false;
        const look = () => {
          const there = document.querySelector('.verdict') !== null;
          gone ||= !there;
          if (gone && there) resolve(performance.now() - begun);
          else requestAnimationFrame(look);
        };
        look();
      },
      { once: true, capture: true },
    );
  });

globalThis.bench = { pan, emptyShader, untilVerdict, uploads: () => uploads };
