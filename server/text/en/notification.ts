export const notification = {
  titled: (subject: string, what: string) => `${subject}: ${what}`,
  practiceName: (name: string) => `Practice – ${name}`,
  acknowledged: {
    title: (by: string, what: string, subject: string) => `Acknowledged by ${by}: ${what} at ${subject}`,
    body: "You need to do nothing unless it gets worse.",
  },
  suppressed: {
    title: (subject: string) => `${subject}: no action needed`,
    body: (reason: string) => `${reason} You need to do nothing for now.`.trim(),
  },
  alsoAt: (body: string, names: string) => `${body} Also at ${names}.`,
  moreNames: (count: number) => `${count} more`,
  stillActive: (span: string, body: string) => `Still active after ${span}, not acknowledged. ${body}`,
  notAcknowledged: (span: string, body: string) => `Not acknowledged for ${span}. ${body}`,
  since: (moment: string, body: string) => `Since ${moment}. ${body}`,
  endedUnnotified: "It ended before anybody was notified.",

  group: {
    someFeeders: (silent: number, all: number) => `${silent} of ${all} feeders`,
    bothFeeders: "both feeders",
    allFeeders: (count: number) => `all ${count} feeders`,
    lastReport: (feeder: string, time: string) => `${feeder} at ${time}`,
    silent: {
      title: (yard: string, feeders: string) => `${yard}: no reports from ${feeders}`,
      body: (lastReports: string) =>
        `Last reports: ${lastReports}. They stopped at about the same time. Check the yard's power and network first.`,
    },
    allReporting: { title: (yard: string) => `${yard}: all report again`, body: "All feeders report again." },
    oneSilent: {
      title: (yard: string, feeder: string) => `${yard}: only ${feeder} has no reports`,
      body: "The others report again or are suppressed.",
    },
    included: {
      title: (feeder: string) => `${feeder}: part of a group`,
      body: (yardTitle: string) => `Included in: ${yardTitle}.`,
    },
    outOfService: "Its feeders are out of service.",
  },
};
