// The outlines of the tool's own shapes that the phone draws; the same as in components/shapes.html,
// which a test holds them against.

export const SHAPES = {
  right: "M3 12.6 6.2 9.4 10 13.2 18 4.4 21.2 7.4 10.1 19.6Z",
  fault: "M6.4 3 12 8.6 17.6 3 21 6.4 15.4 12 21 17.6 17.6 21 12 15.4 6.4 21 3 17.6 8.6 12 3 6.4Z",
  nothing_due: "M3 9.5H21V14.5H3Z",
  waiting: "M12 2.5A9.5 9.5 0 1 1 12 21.5 9.5 9.5 0 1 1 12 2.5ZM12 6.1A5.9 5.9 0 1 0 12 17.9 5.9 5.9 0 1 0 12 6.1Z",
  begun: "M12 2.5A9.5 9.5 0 1 1 12 21.5 9.5 9.5 0 1 1 12 2.5ZM12 5.5A6.5 6.5 0 0 0 12 18.5Z",
  back: "M9.6 2.6V7H14.2A6.9 6.9 0 0 1 14.2 20.8H5V16.8H14.2A2.9 2.9 0 0 0 14.2 11H9.6V15.4L2 9Z",
  onward: "M2.5 9.3H12.3V3.6L21.8 12 12.3 20.4V14.7H2.5Z",
  halt: "M2 9.3H8.3V4.4L15.2 12 8.3 19.6V14.7H2ZM17 2.5H22V21.5H17Z",
  undo: "M10.2 2.8V7.4H13.6A6.7 6.7 0 0 1 13.6 20.8H7V17H13.6A2.9 2.9 0 0 0 13.6 11.2H10.2V15.8L2.4 9.3Z",
  chevron: "M7 2.5 18 12 7 21.5Z",
  plus: "M9.8 3H14.2V9.8H21V14.2H14.2V21H9.8V14.2H3V9.8H9.8Z",
  minus: "M3 9.8H21V14.2H3Z",
  camera: "M2 6.5H7.2L9 3.5H15L16.8 6.5H22V20.5H2ZM12 8.7A4.6 4.6 0 1 0 12 17.9 4.6 4.6 0 1 0 12 8.7ZM12 11.3A2 2 0 1 1 12 15.3 2 2 0 1 1 12 11.3Z",
};
