/** Longer than this no leaf needs; a leaf's spots can still be told apart. */
export const longSidePx = 1600;
/** The server takes 2 MB; a line with one bar does better with less. */
export const mostBytes = 1_000_000;
/** So many to one find: the whole plant, the leaf from both sides, and some more. */
export const mostPhotos = 6;

/** The size of a picture whose longer side is at most `longest`, in whole pixels; none is made larger. */
export function fitted(width: number, height: number, longest: number): [number, number] {
  const scale = Math.min(1, longest / Math.max(width, height));
  return [Math.max(1, Math.round(width * scale)), Math.max(1, Math.round(height * scale))];
}

/** What was chosen is no picture this browser can read. */
export class NoPicture extends Error {}

// From the best down, until it is small enough. The last is always taken.
const tries = [
  [longSidePx, 0.8],
  [longSidePx, 0.6],
  [1200, 0.6],
  [800, 0.5],
] as const;

/**
 * A picture made small, as JPEG. It is drawn anew, so that nothing of what the
 * camera wrote beside it goes along: neither place nor device. NoPicture.
 */
export async function shrink(file: Blob): Promise<Blob> {
  let picture: ImageBitmap;
  try {
    picture = await createImageBitmap(file);
  } catch {
    throw new NoPicture();
  }
  try {
    const canvas = document.createElement("canvas");
    let made: Blob | null = null;
    for (const [longest, quality] of tries) {
      [canvas.width, canvas.height] = fitted(picture.width, picture.height, longest);
      const pen = canvas.getContext("2d");
      if (!pen) throw new NoPicture();
      pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
      made = await new Promise<Blob | null>((done) => canvas.toBlob(done, "image/jpeg", quality));
      if (made && made.size <= mostBytes) break;
    }
    if (!made) throw new NoPicture();
    return made;
  } finally {
    picture.close();
  }
}
