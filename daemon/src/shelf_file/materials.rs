//! Handbook numbers of nest bodies: priors for the model, which learns better ones from the nest itself.
use super::findings::Findings;
use super::nearest::nearest;
use super::raw::RawMaterial;
use dashboards::say;
use enclosure::shelf::Material;

const fn material(conductivity_w_mk: f64, density_kg_m3: f64, heat_capacity_j_kgk: f64) -> Material {
    Material { conductivity_w_mk, density_kg_m3, heat_capacity_j_kgk }
}

/// The materials known by name, dry or air-dry near 25 °C. A damp body conducts more and stores more.
pub(super) const KNOWN: [(&str, Material); 10] = [
    // White oak, 12 % moisture: USDA Wood Handbook FPL-GTR-190 (2010), ch. 4, eq. 4-15 and 4-16, G = 0.68.
    ("oak", material(0.184, 760.0, 1650.0)),
    // American beech, 12 % moisture: the same formulae, G = 0.64 (G from memory).
    ("beech", material(0.174, 717.0, 1650.0)),
    // Ponderosa pine, 12 % moisture: the same formulae, G = 0.40 (G from memory).
    ("pine", material(0.116, 450.0, 1650.0)),
    // Gypsum, dry, 1200 kg/m³: EN ISO 10456, table 3 (from memory).
    ("plaster", material(0.43, 1200.0, 1000.0)),
    // Autoclaved aerated concrete, dry: EN 1745, middle of its range (from memory).
    ("aac", material(0.12, 450.0, 1000.0)),
    // Terracotta, solid clay: building-physics data sheet, middle of its range.
    ("clay", material(0.95, 1700.0, 936.0)),
    // Acrylic sheet (PMMA): EN ISO 10077-2.
    ("acrylic", material(0.18, 1180.0, 1500.0)),
    // Soda-lime glass: EN ISO 10077-2, EN ISO 10456.
    ("glass", material(1.0, 2500.0, 750.0)),
    // Expanded cork board: CIBSE Guide A; EN ISO 10456 for the heat capacity (from memory).
    ("cork", material(0.040, 110.0, 1560.0)),
    // Polylactic acid, solid: polymer literature (from memory). A sparse infill conducts and stores less.
    ("printed", material(0.13, 1240.0, 1800.0)),
];

/// Where no material is named: about a hardwood (EN ISO 10456, table 3), the middle of what nests are made of.
pub const UNNAMED: Material = material(0.18, 700.0, 1600.0);

/// The names of all known materials.
pub fn material_names() -> Vec<&'static str> {
    KNOWN.iter().map(|(name, _)| *name).collect()
}

/// The numbers of a known material.
pub fn known_material(name: &str) -> Option<Material> {
    KNOWN.iter().find(|(known, _)| *known == name).map(|(_, m)| *m)
}

/// The name of a material with these numbers.
pub fn name_of_material(material: &Material) -> Option<&'static str> {
    KNOWN.iter().find(|(_, m)| m == material).map(|(name, _)| *name)
}

/// The material that a nest names, or its own numbers.
pub(super) fn build(path: &str, raw: Option<&RawMaterial>, f: &mut Findings) -> Option<Material> {
    match raw {
        None => Some(UNNAMED),
        Some(RawMaterial::Named(name)) => {
            let known = known_material(name);
            if known.is_none() {
                let near = nearest(name, KNOWN.iter().map(|(n, _)| *n)).map_or("", |(near, _)| near);
                let all = material_names().join(", ");
                let why = say!("shelf-material", text = name, near = near);
                f.wrong(path, why, say!("shelf-material-do", words = all));
            }
            known
        }
        Some(RawMaterial::Own(n)) => {
            let conductivity_w_mk = f.need(n.conductivity_w_mk, &format!("{path}.conductivity_w_mk"));
            let density_kg_m3 = f.need(n.density_kg_m3, &format!("{path}.density_kg_m3"));
            let heat_capacity_j_kgk = f.need(n.heat_capacity_j_kgk, &format!("{path}.heat_capacity_j_kgk"));
            Some(material(conductivity_w_mk?, density_kg_m3?, heat_capacity_j_kgk?))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn woods_follow_the_wood_handbook() {
        // FPL-GTR-190 eq. 4-15: k = G (B + C x) + A across the grain, x = 12 % moisture; its own scatter is ±20 %.
        for (name, gravity) in [("oak", 0.68), ("beech", 0.64), ("pine", 0.40)] {
            let expected = gravity * (0.1941 + 0.004_064 * 12.0) + 0.018_64;
            let (_, m) = KNOWN.iter().find(|(n, _)| *n == name).expect("listed");
            assert!((m.conductivity_w_mk - expected).abs() < 0.001, "{name}: {expected}");
            assert!(
                (m.density_kg_m3 / (gravity * 1000.0 * 1.12) - 1.0).abs() < 0.02,
                "{name}: dry mass and 12 % water"
            );
        }
    }

    #[test]
    fn diffusivities_are_those_of_solids() {
        // Between cork and glass: 0.5e-7 to 6e-7 m²/s for every body that is no metal.
        for (name, m) in KNOWN {
            let diffusivity_m2_s = m.conductivity_w_mk / (m.density_kg_m3 * m.heat_capacity_j_kgk);
            assert!((0.5e-7..6e-7).contains(&diffusivity_m2_s), "{name}: {diffusivity_m2_s}");
        }
    }
}
