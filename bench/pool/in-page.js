// What the bench of the pool does inside the page.
globalThis.bench = {
  /** An input of its own for the files with the pixels. */
  open() {
    const input = document.createElement('input');
    Object.assign(input, { type: 'file', multiple: true, id: 'bench-pixels' });
    document.body.append(input);
  },

  /** Gives the run a file for each header: the header, then pixels of one of the files, which stay on disk until read. */
  give(headers, block) {
    const input = document.querySelector('#bench-pixels');
    const pixels = [...input.files].map((file) => file.slice(block));
    input.remove();
    const given = new DataTransfer();
    headers.forEach((header, i) => {
      const name = `frame-${String(i).padStart(4, '0')}.fits`;
      const parts = [new TextEncoder().encode(header), pixels[i % pixels.length]];
      given.items.add(new File(parts, name, { lastModified: i + 1 }));
    });
    const target = document.querySelector('[data-testid="run-files"]');
    target.files = given.files;
    target.dispatchEvent(new Event('change', { bubbles: true }));
  },
};
