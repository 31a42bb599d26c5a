export const title = "Your notifications";
export const quietHoursLegend = "Quiet hours";
export const quietHoursHint = "In the yard's time zone. Notifications wait until the end. Leave empty for none.";
export const fromLabel = "From";
export const toLabel = "To";
export const urgentLabel = "Urgent alarms during quiet hours";
export const urgentHint = "If off, an urgent alarm goes to the next person at once.";
export const digestLegend = "Daily digest";
export const digestLabels = {
  push: "As a notification",
  email: "By e-mail",
  both: "As a notification and by e-mail",
  none: "Do not send it",
} as const;
export const emailTitle = "E-mail";
export const emailLabel = "E-mail address";
export const emailHint = "Urgent alarms that no phone has shown are also sent here. Other people can't see it.";
export const cannotEmailHint = "This server can't send e-mail yet. Its administrator can set this up.";
export const saveEmailLabel = "Save e-mail address";
export const emailSavedText = "E-mail address saved.";
export const emailRemovedText = "E-mail address removed.";
export const testEmailLabel = "Send a test e-mail";
