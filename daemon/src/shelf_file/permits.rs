//! Heating mats that a node drives on leave only.
use super::findings::{Findings, without};
use super::raw::{RawMapping, RawNest};
use super::settings::PermitSettings;
use dashboards::say;
use std::path::Path;

/// The mats with a key. `users` says whether the broker has users, without whom nobody is bound to a node's topics and
/// only signed packs justify heat.
pub(super) fn build(
    raw: &[RawNest],
    mappings: &[RawMapping],
    (users, dir): (bool, &Path),
    f: &mut Findings,
) -> Vec<PermitSettings> {
    let mut built: Vec<PermitSettings> = Vec::new();
    for (nest, n) in raw.iter().enumerate() {
        for (pad, p) in n.pad.iter().enumerate() {
            let here = format!("nest[{nest}].pad[{pad}]");
            let (path, duty_path) = (format!("{here}.permit_key_file"), format!("{here}.permit_duty"));
            let Some(key_file) = p.permit_key_file.as_deref() else {
                if p.permit_duty.is_some() {
                    f.wrong(&duty_path, without("permit_key_file"), say!("shelf-permit-duty-do"));
                }
                continue;
            };
            let node = p.drive.as_deref().and_then(|drive| drive.rsplit_once(':')).map_or("", |(node, _)| node);
            if node.is_empty() {
                f.wrong(&path, say!("shelf-permit-drive"), say!("shelf-permit-drive-do"));
                continue;
            }
            if built.iter().any(|other| other.node == node) {
                f.wrong(&path, say!("shelf-permit-twice", text = node), say!("shelf-permit-twice-do"));
            }
            let is_mapped = |source: Option<&str>| mappings.iter().any(|m| m.source.as_deref() == source);
            if n.probe.iter().all(|probe| is_mapped(probe.source.as_deref())) {
                f.wrong(&path, say!("shelf-permit-feigned"), say!("shelf-permit-feigned-do"));
            }
            built.push(PermitSettings {
                nest,
                pad,
                node: node.to_owned(),
                key_file: dir.join(key_file),
                duty: p.permit_duty.unwrap_or(1.0),
                signed: !users,
            });
        }
    }
    built
}
