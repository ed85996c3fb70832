// The outlines that only the practice page draws. A word always stands beside one.

import { drawn } from "../field/elements.js";

const OUTLINES = {
  speaker: "M2.5 8.5H7L13 3.5V20.5L7 15.5H2.5ZM15.5 8.2H18V15.8H15.5ZM19.6 5.2H22.1V18.8H19.6Z",
  up: "M12 3 22 16.5H2Z",
  down: "M12 21 2 7.5H22Z",
  left: "M3 12 16.5 2V22Z",
  right: "M21 12 7.5 22V2Z",
  // Shears, seen from the side: two blades, a pin, two handles.
  shears:
    "M2 4.5 4.2 2 13.1 9.6 21.8 3.6 19.5 8.3 15.2 11.6A3 3 0 0 1 14.6 12.4L20 17.2A3.4 3.4 0 1 1 17.6 19.9L12.2 15.1 8.9 18.2A3.4 3.4 0 1 1 6.4 15.6L10.2 12.1Z",
  hand: "M11 2.5H13V4H15.5V11H17V6.5H19.5V15L15.5 21.5H9L4 14.5 6 12.5 8.5 14.5V4.5H11Z",
};

export const picture = (name) => drawn(OUTLINES[name]);
