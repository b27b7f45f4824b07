// The camera's picture, for scanning a tag or taking a photo.
import { useEffect, useRef, useState } from "preact/hooks";
import { closeCamera, hasTorch, openCamera, setTorch, watchForCodes } from "../camera.ts";
import { strings } from "../strings.ts";
import { decoder, Icon, Notice } from "./parts.tsx";
import { rememberTones, tones } from "./state.ts";

export function Viewfinder(props: {
  /** Called with the text of each code seen; scanning when given. */
  onCode?: (text: string) => void;
  /** What to hold before the camera, when it is not a tag. */
  words?: string;
  /** Called with the picture to keep; a shutter button is shown when given. */
  onShot?: (video: HTMLVideoElement) => void;
  /** Called when the person gives up taking a photo. */
  onClose?: () => void;
}) {
  const video = useRef<HTMLVideoElement>(null);
  const [stream, setStream] = useState<MediaStream | null>(null);
  const [refused, setRefused] = useState(false);
  const [lit, setLit] = useState(false);
  const onCode = useRef(props.onCode);
  onCode.current = props.onCode;

  useEffect(() => {
    const stop = new AbortController();
    let opened: MediaStream | null = null;
    const open = async () => {
      opened = await openCamera();
      if (stop.signal.aborted || video.current === null) return closeCamera(opened);
      video.current.srcObject = opened;
      await video.current.play();
      setStream(opened);
      if (onCode.current !== undefined) {
        await watchForCodes(video.current, decoder, (text) => onCode.current?.(text), stop.signal);
      }
    };
    open().catch(() => {
      if (!stop.signal.aborted) setRefused(true);
    });
    return () => {
      stop.abort();
      if (opened !== null) closeCamera(opened);
    };
  }, []);

  if (refused) return <Notice kind="error" title={strings.cameraRefused} />;
  return (
    <div class="viewfinder">
      <div
        class={`viewfinder__frame${props.onCode === undefined ? "" : " viewfinder__frame--scan"}`}
      >
        <video ref={video} muted playsInline />
        {props.onCode !== undefined && <p class="viewfinder__words">{props.words ?? strings.pointAtTag}</p>}
      </div>
      <div class="row row--even">
        {stream !== null && hasTorch(stream) && (
          <button
            type="button"
            class="button button--field"
            onClick={() => void setTorch(stream, !lit).then(() => setLit(!lit))}
          >
            <Icon name="torch" />
            {lit ? strings.torchOff : strings.torchOn}
          </button>
        )}
        {props.onCode !== undefined && (
          <button
            type="button"
            class="button button--field"
            onClick={() => void rememberTones(!tones.value)}
          >
            {tones.value ? strings.tonesOff : strings.tonesOn}
          </button>
        )}
        {props.onShot !== undefined && (
          <button
            type="button"
            class="button button--primary button--scan"
            disabled={stream === null}
            onClick={() => video.current !== null && props.onShot?.(video.current)}
          >
            <Icon name="camera" size={36} />
            {strings.shoot}
          </button>
        )}
        {props.onShot !== undefined && (
          <button type="button" class="button button--field" onClick={props.onClose}>
            {strings.cancel}
          </button>
        )}
      </div>
    </div>
  );
}
