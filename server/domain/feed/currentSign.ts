import { currentText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import { type MotorModel, usualCurrent } from "./motorModel.ts";

/**
 * The motor's last current beside its usual one, as a keeper reads it. Sentence and evidence are both made of it, so that a reason can't
 * offer a current as a sign of the opposite.
 */
export interface CurrentSign {
  readonly drawn: string;
  readonly usual: string;
  readonly isLower: boolean; // by more than a meter's step, and by the numbers that are shown
  readonly isHigher: boolean;
  readonly isAsWithFood: boolean; // near enough to be a sign that food is on the tray
}

/** Null while either of the currents isn't known. */
export function currentSign(motor: MotorModel): CurrentSign | null {
  const [last, mean] = [motor.lastMilliamps, usualCurrent(motor)];
  if (last === null || mean === null || mean < runningMin) return null;
  const [drawn, usual] = [roundedMilliamps(last), roundedMilliamps(mean)];
  return {
    drawn: currentText(drawn),
    usual: currentText(usual),
    isLower: last < (1 - stepShare) * mean && drawn < usual,
    isHigher: last > (1 + stepShare) * mean && drawn > usual,
    isAsWithFood: Math.abs(last - mean) <= withFoodShare * mean,
  };
}

/** mA; less is what a driver leaks or a meter's zero: no motor turns on it, and it is no measure. Common practice, no source. */
const runningMin = 15;
const stepShare = 0.03;
/** An empty tray makes a tenth at the most, see faultSignatures.ts. Common practice, no source. */
const withFoodShare = 0.1;

/** "60 mA instead of about 120 mA". */
export const currentSignText = ({ drawn, usual }: CurrentSign): string => texts.feed.current(drawn, usual);

const roundedMilliamps = (current: number): number =>
  current >= 100 ? Math.round(current / 10) * 10 : Math.round(current);
