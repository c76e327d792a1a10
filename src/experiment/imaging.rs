//! From what is written of cameras and markers to cameras that can see them.

use super::spec::Reader;
use crate::geometry::{Displacement, Pinhole, PinholeError, Rig};
use crate::simulation::model::CameraPlace;
use crate::simulation::{CameraModel, Imaging, Model, ToolKind};

impl Reader<'_, '_> {
    /// The cameras; `None` with faults where there can be none.
    pub fn imaging(&mut self, camera: &CameraPlace) -> Option<Imaging> {
        let pixel = &camera.pixel;
        self.demand((1..=2).contains(&pixel.cameras), "camera.pixel.cameras", pixel.cameras, "1 or 2");
        let angle = pixel.largest_view_angle_deg;
        self.demand(
            angle > 0.0 && angle <= 90.0,
            "camera.pixel.largest_view_angle_deg",
            angle,
            "more than 0 and at most 90 degrees",
        );
        let noise = pixel.stated_noise_px;
        self.demand(noise >= 0.0, "camera.pixel.stated_noise_px", noise, "0 or more");
        let first = self.pinhole("camera.pixel", pixel.first())?;
        let rig = if pixel.cameras == 2 {
            let second = self.pinhole("camera.second", camera.second.beside(pixel))?;
            let [x, y, z] = camera.second.position_mm;
            let apart = Displacement::<()>::new(x, y, z).length();
            self.demand(
                apart > 0.0,
                "camera.second.position_mm",
                format!("[{x}, {y}, {z}]"),
                "a place away from the first camera",
            );
            Rig::two(first, second, camera.second.place())
        } else {
            Rig::one(first)
        };
        Some(Imaging { rig, least_cosine: libm::cos(angle.to_radians()) })
    }

    fn pinhole(&mut self, section: &str, camera: Result<Pinhole, PinholeError>) -> Option<Pinhole> {
        let error = match camera {
            Ok(camera) => return Some(camera),
            Err(error) => error,
        };
        self.fault(section, format!("`{section}` makes no camera"), error.to_string());
        if let PinholeError::Folded { .. } = error {
            self.mend(
                "beyond the radius at which r (1 + k1 r^2 + k2 r^4 + k3 r^6) stops growing two rays meet in one pixel: \
                 use coefficients that were fitted up to the corners, or a smaller resolution_px",
            );
        }
        None
    }

    /// Whether the cameras can tell a pose from the markers, and whether every marker's normal is one.
    pub fn check_markers(&mut self, model: &Model) {
        for tool in ToolKind::ALL {
            let ((markers, normals), tool) = (model.tools.markers(tool), tool.word());
            let (path, about) = (format!("tools.{tool}_markers_mm"), format!("tools.{tool}_marker_normals"));
            let (least, cameras) =
                if model.camera.pixel.cameras == 2 { (3, "two cameras") } else { (4, "one camera") };
            if model.camera.model == CameraModel::Pixel && markers.len() < least {
                self.demand(false, &path, format!("{} markers", markers.len()), &format!("at least {least}"));
                self.mend(&format!(
                    "a pose from the images of {cameras} needs {least} markers: three images in one camera suit up to four \
                     poses"
                ));
            }
            if !normals.is_empty() && normals.len() != markers.len() {
                let expected = format!("{}, one for each marker, or none", markers.len());
                self.demand(false, &about, format!("{} normals", normals.len()), &expected);
                self.mend("with none, every marker looks along +Z of its tracker");
            }
            for (i, &[x, y, z]) in normals.iter().enumerate() {
                let direction = Displacement::<()>::new(x, y, z).direction();
                let path = format!("{about}.{i}");
                self.demand(direction.is_some(), &path, format!("[{x}, {y}, {z}]"), "a direction, any length but 0");
            }
        }
    }
}
