// The phone's back camera, its torch, and QR codes in what it sees.

const SCAN_EVERY_MS = 120;
const SCAN_WIDTH_PX = 960;

interface TorchCapabilities extends MediaTrackCapabilities {
  torch?: boolean;
}

/** Cameras answer only on https or on this machine itself. */
export function cameraPossible(): boolean {
  return window.isSecureContext && navigator.mediaDevices !== undefined;
}

export async function openCamera(): Promise<MediaStream> {
  return navigator.mediaDevices.getUserMedia({
    audio: false,
    video: {
      facingMode: { ideal: "environment" },
      width: { ideal: 1920 },
      height: { ideal: 1080 },
    },
  });
}

export function closeCamera(stream: MediaStream): void {
  for (const track of stream.getTracks()) track.stop();
}

export function hasTorch(stream: MediaStream): boolean {
  const [track] = stream.getVideoTracks();
  const can: TorchCapabilities | undefined = track?.getCapabilities?.();
  return can?.torch === true;
}

export async function setTorch(stream: MediaStream, on: boolean): Promise<void> {
  const [track] = stream.getVideoTracks();
  const wanted = {
    advanced: [{ torch: on }],
  } as unknown as MediaTrackConstraints;
  await track?.applyConstraints(wanted);
}

/** Watch `video` and report the text of every QR code seen, until the signal stops it. */
export async function watchForCodes(
  video: HTMLVideoElement,
  decoder: string,
  seen: (text: string) => void,
  stop: AbortSignal,
): Promise<void> {
  const { prepareZXingModule, readBarcodes } = await import("zxing-wasm/reader");
  await prepareZXingModule({
    overrides: { locateFile: () => decoder },
    fireImmediately: true,
  });
  const canvas = document.createElement("canvas");
  const pen = canvas.getContext("2d", { willReadFrequently: true });
  while (!stop.aborted && pen !== null) {
    if (video.readyState >= video.HAVE_CURRENT_DATA && video.videoWidth > 0) {
      canvas.width = Math.min(SCAN_WIDTH_PX, video.videoWidth);
      canvas.height = Math.round((video.videoHeight * canvas.width) / video.videoWidth);
      pen.drawImage(video, 0, 0, canvas.width, canvas.height);
      const frame = pen.getImageData(0, 0, canvas.width, canvas.height);
      for (const found of await readBarcodes(frame, {
        formats: ["QRCode"],
        maxNumberOfSymbols: 4,
      })) {
        if (found.isValid && !stop.aborted) seen(found.text);
      }
    }
    await new Promise((resolve) => setTimeout(resolve, SCAN_EVERY_MS));
  }
}
