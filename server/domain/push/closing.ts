/** An earlier notification of a topic for one screen. */
export interface EarlierNotification {
  /** Whether it only closes an earlier notification. */
  readonly isClosing: boolean;
  /** Whether it replaces another one without a sound. */
  readonly silent: boolean;
  /** Whether it arrived, or may have: an attempt that ended without an answer counts. */
  readonly arrived: boolean;
}

/**
 * Whether a screen shows something that a new closing notification must remove, by the earlier notifications of that screen and
 * topic (newest first). A reminder that never arrived leaves the alarm on the screen that it was to remind of; an alarm that was
 * sent again after it had been closed, and never arrived, leaves nothing.
 */
export function needsClosing(earlier: readonly EarlierNotification[]): boolean {
  const newest = earlier.findIndex(({ arrived }) => arrived);
  if (newest === -1) return false;
  // After a closing notification: if an alarm came in between, this one is about that; if not, about the one closed.
  return earlier[newest]?.isClosing === false || earlier.slice(0, newest).every(({ isClosing }) => isClosing);
}

/**
 * Whether a silent correction must have a sound: the notification with the sound that it replaces never arrived.
 * @param earlier notifications of that screen and topic, newest first
 */
export function needsSound(earlier: readonly EarlierNotification[]): boolean {
  const settled = earlier.findIndex(({ arrived, isClosing }) => arrived || isClosing);
  return earlier.slice(0, settled === -1 ? earlier.length : settled).some(({ silent }) => !silent);
}
