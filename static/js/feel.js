// What a hand feels: a short buzz for an answer, two for a fault, two long ones for "stop".

export const TAP = [20];
export const FAULT = [20, 60, 20];
export const KEPT = [60];
export const STOP = [300, 120, 300];

export const feel = (pattern) => {
  // A browser lets a page vibrate only once somebody has touched it.
  if (navigator.userActivation?.hasBeenActive) {
    navigator.vibrate?.(pattern);
  }
};
