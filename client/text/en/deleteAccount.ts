export const title = "Delete your account";
export const consequencesText =
  "Your name, passphrase, e-mail address, phones and signed-in devices are deleted. You get no more alarms. Your entries in the feeder logs stay, with your name. This can't be undone.";
export const withYardsLabel = "Delete these yards too";
export const deleteLabel = "Delete my account";
