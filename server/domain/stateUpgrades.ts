import type { FeederState } from "./feeder.ts";

/** A stored state as its version wrote it: only the step from that version knows what is in it. */
export interface StoredState {
  readonly version: number;
  readonly [field: string]: unknown;
}

/** Each step, under the version that it starts from, brings a stored state to the next version. */
export type StateUpgrades = { readonly [from: number]: (stored: StoredState) => object };

/** Version 1 is the first, so there is no step yet. A change of shape adds one here and counts up `FeederState.version`. */
const stateUpgrades: StateUpgrades = {};
const newestVersion: FeederState["version"] = 1;

/**
 * A stored state in the shape of today's version, one version after the other.
 * @throws Error for a version that no step leads from: a newer state would be misread and then overwritten.
 */
export function upgradeState(stored: unknown, upgrades = stateUpgrades): unknown {
  let state = stored as StoredState | null;
  while (state?.version !== newestVersion) {
    const upgrade = state === null ? undefined : upgrades[state.version];
    if (state === null || upgrade === undefined) {
      throw new Error(`expected a feeder's state of version ${newestVersion}, got ${state?.version}`);
    }
    state = { ...upgrade(state), version: state.version + 1 };
  }
  return state;
}
