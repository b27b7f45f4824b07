// The code of a truck's list, for the receiving phone to scan off this one.
import { encode } from "uqr";
import { listAddress } from "../list-code.ts";
import { strings } from "../strings.ts";

/** Light border on each side, in modules (ISO/IEC 18004). */
const QUIET_ZONE = 4;

export function ListCode({ loss, manifest }: { loss: string; manifest: string }) {
  const { data, size } = encode(listAddress(location.origin, loss, manifest), {
    ecc: "M",
    border: QUIET_ZONE,
  });
  const dark = data.flatMap((row, y) => row.flatMap((on, x) => (on ? [`M${x} ${y}h1v1h-1z`] : [])));
  return (
    <svg
      class="list-code"
      viewBox={`0 0 ${size} ${size}`}
      shape-rendering="crispEdges"
      role="img"
      aria-label={strings.moving.listCode}
    >
      <path class="list-code__paper" d={`M0 0h${size}v${size}H0z`} />
      <path class="list-code__ink" d={dark.join("")} />
    </svg>
  );
}
