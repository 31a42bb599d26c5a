export const displayedText = (name: string, time: string) => `${name} at ${time} (shown on a phone)`;
export const emailedText = (name: string, time: string) => `${name} at ${time} (e-mail)`;
export const notDisplayedText = (name: string, time: string) => `${name} at ${time} (not shown yet)`;
export const notifiedText = (recipients: string) => `Notified: ${recipients}.`;
export const notifiedAcknowledgedText = (recipients: string, name: string) =>
  `Notified: ${recipients}. Acknowledged by ${name}.`;
export const unreachableText =
  "Nobody could be notified: no phone can receive notifications and there is no e-mail address.";
export const recipientsLabel = "Recipients";
