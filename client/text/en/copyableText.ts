export const copyLabel = "Copy";
export const copiedText = "Copied";
export const notAllowedText = "Copying is not allowed here. Select the text and copy it.";
