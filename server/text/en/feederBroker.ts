/** Why a report over a broker is refused; the other reasons are those of HTTP. */
export const feederBroker = {
  unsigned: "over a broker each report has its signature in a first line of its own; the key itself is never sent",
  otherTopic: (feeder: string) => `the signature is that of ${feeder}, and this topic is that of another feeder`,
  tooLarge: "A report has at most 1 MiB: send the oldest events first, the rest next time.",
};
