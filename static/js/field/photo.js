// An optional photo of a fault: taken with the phone's own camera, drawn anew on a canvas and written
// as a JPEG of at most 1600 px, so that nothing of the camera's notes (place, time, phone) is left.

import { make, shape } from "./elements.js";

const LONGEST_PX = 1600;
const MOST_BYTES = 1_000_000;
const QUALITIES = [0.82, 0.7, 0.55, 0.4];

// A key with a file entry of its own: a press opens the camera. `whenTaken` gets the finished JPEG.
export const photoKey = (text, { whenTaken, whenProblem, ...attributes }) => {
  const input = make("input", {
    type: "file",
    accept: "image/*",
    capture: "environment",
    onchange: async () => {
      const [file] = input.files;
      if (!file) {
        return;
      }
      try {
        await whenTaken(await withoutNotes(file));
      } catch (error) {
        whenProblem(error);
      } finally {
        // The same picture chosen again is a new one.
        input.value = "";
      }
    },
  });
  return make("label", { ...attributes, class: "button photo-key" }, input, shape("camera"), make("span", {}, text));
};

export const withoutNotes = async (file) => {
  const picture = await createImageBitmap(file);
  try {
    const scale = Math.min(1, LONGEST_PX / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    return await smallEnough(canvas);
  } finally {
    picture.close();
  }
};

const smallEnough = async (canvas) => {
  for (const quality of QUALITIES) {
    const jpeg = await new Promise((done) => canvas.toBlob(done, "image/jpeg", quality));
    if (jpeg === null) {
      break;
    }
    if (jpeg.size <= MOST_BYTES) {
      return jpeg;
    }
  }
  throw new Error("the picture cannot be made small enough");
};
