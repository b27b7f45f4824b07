// The time left, as a number to be seen from afar and the words beside it.
import type { Triage } from "../api.ts";
import { strings } from "../strings.ts";

/** Whole hours, rounded down: never more time than there is. Days from three on. */
export function clockOf(triage: Triage): readonly [number: string, words: string] {
  const { hours_left: hours } = triage;
  if (triage.paused) return ["", strings.clockPaused];
  if (hours === null) return ["", strings.noClock];
  const whole = Math.floor(Math.abs(hours));
  if (hours <= 0) return [String(whole), strings.hoursOver(whole)];
  if (hours < 1) return [`${Math.floor(hours * 60)}′`, strings.lessThanHour];
  if (hours < 72) return [String(whole), strings.hoursLeft(whole)];
  return [String(Math.floor(hours / 24)), strings.daysLeft];
}

/**
 * A ruling `elapsed` milliseconds after it was made: less of its time is left. What has passed is
 * counted, and not the deadline: this phone's clock may be wrong.
 */
export function aged(triage: Triage, elapsed: number): Triage {
  if (triage.hours_left === null || triage.paused) return triage;
  return { ...triage, hours_left: triage.hours_left - Math.max(0, elapsed) / 3_600_000 };
}
