// Photos: scaled down, written again as JPEG (which leaves out where the phone was), digested.
import { sha256 } from "./journal.ts";
import type { KeptPhoto } from "./store.ts";

const LONGEST_SIDE_PX = 2048;
const THUMB_SIDE_PX = 320;
const JPEG_QUALITY = 0.86;

/** The file is not a picture that this browser can read. */
export class NotAPhoto extends Error {}

/** A photo ready to keep, from a file of the camera or a frame of the viewfinder. */
export async function preparePhoto(source: Blob | HTMLVideoElement): Promise<KeptPhoto> {
  let picture: ImageBitmap;
  try {
    picture = await createImageBitmap(source, { imageOrientation: "from-image" });
  } catch {
    throw new NotAPhoto();
  }
  try {
    const full = await jpeg(picture, LONGEST_SIDE_PX);
    const thumb = await jpeg(picture, THUMB_SIDE_PX);
    return { sha: await sha256(await full.arrayBuffer()), full, thumb };
  } finally {
    picture.close();
  }
}

/** `picture` as JPEG, its longer side at most `longest` pixels. */
async function jpeg(picture: ImageBitmap, longest: number): Promise<Blob> {
  const scale = Math.min(1, longest / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d")?.drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve, reject) => {
    canvas.toBlob(
      (blob) => (blob === null ? reject(new NotAPhoto()) : resolve(blob)),
      "image/jpeg",
      JPEG_QUALITY,
    );
  });
}
