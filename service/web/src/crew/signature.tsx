// A signature drawn on the glass with a finger or a pen.
import { useEffect, useRef, useState } from "preact/hooks";
import { preparePhoto } from "../photo.ts";
import type { KeptPhoto } from "../store.ts";
import { strings } from "../strings.ts";
import { Icon } from "./parts.tsx";

/** A tap or a slip of the finger is no signature: this much line at the least, in CSS pixels. */
const LEAST_LINE_PX = 60;
const PEN_PX = 3;
const PAPER = "#ffffff";
const INK = "#0d2b3a";

/** What is drawn, as a picture; null while there is too little of it to be a signature. */
export type TakeSignature = () => Promise<KeptPhoto | null>;

export function SignaturePad({ take }: { take: { current: TakeSignature } }) {
  const canvas = useRef<HTMLCanvasElement>(null);
  const last = useRef<{ x: number; y: number } | null>(null);
  const length = useRef(0);
  const [drawn, setDrawn] = useState(false);

  const clear = () => {
    const pad = canvas.current;
    const pen = pad?.getContext("2d");
    if (pad == null || pen == null) return;
    pen.fillStyle = PAPER;
    pen.fillRect(0, 0, pad.width, pad.height);
    length.current = 0;
    setDrawn(false);
  };

  useEffect(() => {
    const pad = canvas.current;
    if (pad === null) return;
    // As many dots as the screen has, so that the line is as fine as it was drawn.
    pad.width = Math.round(pad.clientWidth * devicePixelRatio);
    pad.height = Math.round(pad.clientHeight * devicePixelRatio);
    clear();
    take.current = async () => {
      if (length.current < LEAST_LINE_PX) return null;
      const picture = await new Promise<Blob | null>((done) => pad.toBlob(done, "image/png"));
      return picture === null ? null : preparePhoto(picture);
    };
    return () => {
      take.current = async () => null;
    };
  }, []);

  const begin = (event: PointerEvent & { currentTarget: HTMLCanvasElement }) => {
    if (!event.isPrimary) return;
    event.currentTarget.setPointerCapture(event.pointerId);
    last.current = pointOf(event);
  };
  const draw = (event: PointerEvent & { currentTarget: HTMLCanvasElement }) => {
    const from = last.current;
    const pen = event.currentTarget.getContext("2d");
    if (from === null || pen === null || !event.isPrimary) return;
    const to = pointOf(event);
    // The screen may have turned since: the drawing is stretched with the box.
    const scaleX = event.currentTarget.width / event.currentTarget.clientWidth;
    const scaleY = event.currentTarget.height / event.currentTarget.clientHeight;
    pen.strokeStyle = INK;
    pen.lineWidth = PEN_PX * devicePixelRatio;
    pen.lineCap = "round";
    pen.beginPath();
    pen.moveTo(from.x * scaleX, from.y * scaleY);
    pen.lineTo(to.x * scaleX, to.y * scaleY);
    pen.stroke();
    length.current += Math.hypot(to.x - from.x, to.y - from.y);
    last.current = to;
    setDrawn(true);
  };
  const end = () => {
    last.current = null;
  };

  return (
    <div class="signature">
      <div class="signature__box">
        <canvas
          ref={canvas}
          class="signature__pad"
          role="img"
          aria-label={strings.moving.padLabel}
          onPointerDown={begin}
          onPointerMove={draw}
          onPointerUp={end}
          onPointerCancel={end}
        />
        {!drawn && <p class="signature__words">{strings.moving.padHint}</p>}
      </div>
      <button type="button" class="button button--field" disabled={!drawn} onClick={clear}>
        <Icon name="cross" />
        {strings.moving.clear}
      </button>
    </div>
  );
}

/** Where the pointer is within the box, in CSS pixels. */
function pointOf(event: PointerEvent & { currentTarget: HTMLCanvasElement }) {
  const box = event.currentTarget.getBoundingClientRect();
  return { x: event.clientX - box.left, y: event.clientY - box.top };
}
