import type { LimitsView } from "./trainingView.ts";

/** What a yard's cameras have sent, the newest first. Times are ISO 8601 in UTC. */
export interface StillsView {
  readonly stills: readonly StillView[];
  /** Whether there are older ones: asked for with `before` set to the moment of the last still here. */
  readonly more: boolean;
  /** How full the yard's space for stills is; null while there is plenty. */
  readonly spaceText: string | null;
  /** For how long a still without a star is kept. */
  readonly keptDays: number;
  readonly total: number; // stills of the yard
  readonly who: LabelSharesView;
  readonly brought: LabelSharesView;
}

/** Its files: `/api/v1/yards/:yard/stills/:still/picture?size=full|small`. */
export interface StillView {
  readonly id: string;
  readonly feeder: { readonly id: string; readonly name: string };
  readonly at: string;
  /** `known` once a report has brought the event that the still names. */
  readonly event: { readonly known: boolean; readonly kind: string | null } | null;
  readonly payment: "paid" | "unpaid" | "earnsNothing" | null; // of a deposit
  readonly starred: boolean;
  readonly who: string | null;
  readonly brought: string | null;
  readonly widthPixels: number; // of the full size
  readonly heightPixels: number;
}

export interface LabelSharesView {
  readonly labels: readonly {
    readonly label: string;
    readonly stills: number;
    readonly share: number; // of those labelled
    readonly limits: LimitsView; // 95 %
  }[];
  readonly labelled: number;
}
