/**
 * The files that somebody let go over the page, those in dropped folders too. Must be called within the drop event:
 * later the browser no longer tells what was dropped.
 */
export function droppedFiles(data: DataTransfer): Promise<File[]> {
  const entries = [...data.items].map((item) => item.webkitGetAsEntry?.() ?? null);
  const plain = [...data.files];
  if (!entries.some((entry) => entry?.isDirectory)) return Promise.resolve(plain);
  return Promise.all(entries.map((entry, i) => (entry ? filesIn(entry) : [plain[i]]))).then((lists) =>
    lists.flat(),
  );
}

async function filesIn(entry: FileSystemEntry): Promise<File[]> {
  try {
    if (entry.isFile)
      return [await new Promise<File>((got, failed) => (entry as FileSystemFileEntry).file(got, failed))];
    const reader = (entry as FileSystemDirectoryEntry).createReader();
    const children: FileSystemEntry[] = [];
    // A reader hands out a folder in portions and ends with an empty one.
    for (;;) {
      const portion = await new Promise<FileSystemEntry[]>((got, failed) => reader.readEntries(got, failed));
      if (portion.length === 0) break;
      children.push(...portion);
    }
    return (await Promise.all(children.map(filesIn))).flat();
  } catch {
    return []; // a file that vanished, or a folder that may not be read: the others count
  }
}
