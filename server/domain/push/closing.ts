/** One notice of a topic that was meant for a screen. */
export interface EarlierNotification {
  /** Whether it only takes back what was told before. */
  readonly isClosing: boolean;
  /** Whether it was to take another's place without a sound. */
  readonly silent: boolean;
  /** Whether it arrived, or may have: an attempt that ended without an answer counts. */
  readonly arrived: boolean;
}

/**
 * Whether something stands on a screen that a new closing notice must take away, by what was meant for that screen under its
 * topic before (newest first). A reminder that never arrived leaves the alarm standing that it was to remind of; an alarm
 * that was told anew after it had been closed, and never arrived, leaves nothing.
 */
export function needsClosing(meant: readonly EarlierNotification[]): boolean {
  const newest = meant.findIndex(({ arrived }) => arrived);
  if (newest === -1) return false;
  // After a closing notice: if an alarm came in between, this one speaks of that; if not, it is news of the one closed.
  return meant[newest]?.isClosing === false || meant.slice(0, newest).every(({ isClosing }) => isClosing);
}

/**
 * Whether a quiet correction must sound all the same: the one with the sound, whose place it took, never arrived.
 * @param meant for that screen under its topic before, newest first
 */
export function needsSound(meant: readonly EarlierNotification[]): boolean {
  const settled = meant.findIndex(({ arrived, isClosing }) => arrived || isClosing);
  return meant.slice(0, settled === -1 ? meant.length : settled).some(({ silent }) => !silent);
}
