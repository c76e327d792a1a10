//! The axes of the measurement, as markers for typed points and poses.

/// Axes of the camera. The pelvis carries it, so they are pelvis axes up to one constant unknown pose. Where the camera is on a
/// stand, what it sees is brought to the axes of the tracker on the pelvis before anything else is measured, and those
/// take their place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Camera {}

/// Axes of the tracker that the step at hand watches: on the probe, on the head, on the inserter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tracker {}

/// Axes of the measured pelvic plane: X anterior, Y superior, Z to the patient's right (ISB order, Wu G et al.
/// J Biomech 2002;35:543-548).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pelvis {}

/// Axes of the femoral feature's drawing; for an ellipse X normal, Y major, Z minor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Feature {}
