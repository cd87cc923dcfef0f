/** Endings of what lies beside frames in a capture folder and is none; whatever else there is gets tried. */
const NO_FRAME =
  /\.(txt|log|csv|json|ini|xml|html?|md|pdf|avi|ser|mp4|mov|mkv|zip|7z|db|lnk|tmp|part|crdownload)$/i;

/** Whether a file of a folder may be a frame. */
export const mayBeFrame = (file: { name: string; size: number }): boolean =>
  file.size > 0 && !file.name.startsWith('.') && !NO_FRAME.test(file.name);

/** Tells one file from another, also after the page was closed and opened again. */
export const keyOf = (file: Pick<File, 'name' | 'size' | 'lastModified'>): string =>
  `${file.name}|${file.size}|${file.lastModified}`;
