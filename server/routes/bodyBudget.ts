/**
 * How many bytes of bodies the server holds at once. Where there is no space for a smaller body, the largest one that is still
 * arriving is ended: a usual report arrives in one piece and is read, even while another sender holds back the end of a large one.
 */
export interface BodyBudget {
  /** @param end answers the sender that there is no space. @returns null where there is none for this one */
  reserve(bytes: number, end: () => void): BodyReservation | null;
  /** In use now, for tests. */
  bytesUsed(): number;
}

export interface BodyReservation {
  /** The whole body is here: it is worked on, and no longer ended for others. */
  markComplete(): void;
  release(): void;
}

export function createBodyBudget(most: number): BodyBudget {
  const arriving = new Map<BodyReservation, { readonly bytes: number; readonly end: () => void }>();
  let used = 0;

  /** Ends arriving bodies that are larger than this one, the largest first, until there is space for it. */
  function freeSpace(bytes: number): void {
    while (used + bytes > most) {
      let [largest, size] = [null as BodyReservation | null, bytes];
      for (const [reservation, of] of arriving) if (of.bytes > size) [largest, size] = [reservation, of.bytes];
      if (largest === null) return;
      const end = arriving.get(largest)?.end;
      largest.release();
      end?.();
    }
  }

  return {
    bytesUsed: () => used,
    reserve(bytes, end) {
      freeSpace(bytes);
      if (used + bytes > most) return null;
      used += bytes;
      let held = true;
      const reservation: BodyReservation = {
        markComplete: () => void arriving.delete(reservation),
        release() {
          arriving.delete(reservation);
          if (held) used -= bytes;
          held = false;
        },
      };
      arriving.set(reservation, { bytes, end });
      return reservation;
    },
  };
}
