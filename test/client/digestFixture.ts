import { localDate, shiftDate } from "../../client/text/clock.ts";
import type { DigestView } from "../../server/contract/api.ts";

/** The server's digest of Alder Croft, `back` days before now: two feeders, one of which needs something. */
export function digestViewFixture(now: number, back = 0): DigestView {
  const today = localDate(now, "Europe/Stockholm");
  return {
    yard: "alder-croft",
    date: shiftDate(today, -back),
    title: "Alder Croft, today: 2 things to do",
    summary: "2 things to do",
    sections: [
      {
        heading: "To do today",
        lines: [
          "Larch: tray jammed since yesterday 22:30. Pause the feeder, then loosen the food in the tray. In frost, check for ice first.",
          "Rowan: refill today, may be empty by tomorrow evening, probably by Friday.",
        ],
      },
      {
        heading: "Food left",
        lines: ["Rowan: about 140 g.", "Larch: about 1.1 kg, very likely enough until Monday."],
      },
      {
        heading: "Birds",
        lines: [
          "Rowan: as usual: 41 visits, 12 presses, 9 deposits, 60 portions.",
          "Larch: fewer than usual: 3 visits (usually 41), 1 press (12). The rest as usual.",
        ],
      },
      {
        heading: "Deposits and pay",
        lines: [
          "Rowan: 9 deposits, all paid, half of them within 2 seconds.",
          "Larch: not paid: 1 of 4 deposits (12:40). The others paid, half of them within 3 seconds.",
        ],
      },
      { heading: "Wear", lines: ["Nothing shows wear."] },
      { heading: "Tonight", lines: ["Frost likely on the feeders, air about −4 °C."] },
    ],
    dates: [0, 1, 2, 4, 5].map((days) => shiftDate(today, -days)),
  };
}
