// Ids that no other phone will ever make, and bytes written as text.

// A random UUID, RFC 9562 section 5.4. crypto.randomUUID is missing on plain http.
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const digits = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return digits.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

export function toBase64(buffer) {
  const bytes = new Uint8Array(buffer);
  let text = "";
  // In pieces: a call takes only so many arguments.
  for (let start = 0; start < bytes.length; start += 0x8000) {
    text += String.fromCharCode(...bytes.subarray(start, start + 0x8000));
  }
  return btoa(text);
}
