/** What hands do to the frame, told in CSS pixels of the element. */
export interface GestureHandlers {
  pan(dx: number, dy: number): void;
  zoom(x: number, y: number, factor: number): void;
  tap(x: number, y: number): void;
  /** Whether a turn of the wheel zooms; otherwise it scrolls the page. */
  takesWheel(event: WheelEvent): boolean;
}

/** A finger or mouse that moved less than this is a tap. */
const TAP_SLOP = 5;

/** Mouse, pen and touch through pointer events: one pans, two pinch, a short one taps. Returns how to stop. */
export function attachGestures(element: HTMLElement, handlers: GestureHandlers): () => void {
  const pointers = new Map<number, { x: number; y: number }>();
  let travelled = 0;

  const place = (event: PointerEvent | MouseEvent) => {
    const box = element.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  };
  function down(event: PointerEvent): void {
    if (event.button !== 0) return;
    if (pointers.size === 0) travelled = 0;
    pointers.set(event.pointerId, place(event));
    element.setPointerCapture(event.pointerId);
  }
  function move(event: PointerEvent): void {
    const before = pointers.get(event.pointerId);
    if (!before) return;
    const now = place(event);
    travelled += Math.hypot(now.x - before.x, now.y - before.y);
    if (pointers.size === 1) {
      if (travelled > TAP_SLOP) handlers.pan(now.x - before.x, now.y - before.y);
    } else {
      const other = [...pointers].find(([id]) => id !== event.pointerId)![1];
      const spread = (p: { x: number; y: number }) => Math.max(1, Math.hypot(p.x - other.x, p.y - other.y));
      handlers.pan((now.x - before.x) / 2, (now.y - before.y) / 2);
      handlers.zoom((now.x + other.x) / 2, (now.y + other.y) / 2, spread(now) / spread(before));
    }
    pointers.set(event.pointerId, now);
  }
  function up(event: PointerEvent): void {
    const last = pointers.get(event.pointerId);
    if (!last) return;
    if (event.type === 'pointerup' && pointers.size === 1 && travelled <= TAP_SLOP)
      handlers.tap(last.x, last.y);
    pointers.delete(event.pointerId);
  }
  function wheel(event: WheelEvent): void {
    if (!handlers.takesWheel(event)) return;
    event.preventDefault();
    const { x, y } = place(event);
    const lines = event.deltaMode === 1 ? 16 : 1;
    handlers.zoom(x, y, Math.exp(-event.deltaY * lines * (event.ctrlKey ? 0.01 : 0.002)));
  }

  const on = { pointerdown: down, pointermove: move, pointerup: up, pointercancel: up } as const;
  for (const [name, handler] of Object.entries(on)) element.addEventListener(name, handler as EventListener);
  element.addEventListener('wheel', wheel, { passive: false });
  return () => {
    for (const [name, handler] of Object.entries(on))
      element.removeEventListener(name, handler as EventListener);
    element.removeEventListener('wheel', wheel);
  };
}
