export const season = {
  heading: "This season",
  /** One for each reminder: quiet cautions, never an alarm. */
  reminders: {
    hardFrost:
      "Hard frost: see that birds find water, lukewarm and with nothing in it. Don't make their free food depend on presses or caps, and don't let it run out.",
    mould:
      "Wet and warm: food goes mouldy within days, and mould makes birds ill. Put in little at a time, keep it dry, and throw away what is damp or smells.",
    nestlings:
      "Nestlings may be fed from now on, and whole nuts or dry kibble can choke them. Give small or soaked pieces. Local advice on when they hatch comes first.",
    winterEnd:
      "Winter ends: empty the feeder, clean it with hot water, let it dry, and throw away old food. Wear gloves, and wash your hands afterwards.",
    salt: "No salt: no salted food, and none in water or on the feeder against ice. It makes birds ill, and may kill them.",
  },
};
