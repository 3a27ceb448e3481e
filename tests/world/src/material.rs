//! What nests are made of.

/// A body's material: the contract's names, with handbook numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Material {
    /// Oak.
    Oak,
    /// Beech.
    Beech,
    /// Pine.
    Pine,
    /// Gypsum plaster.
    Plaster,
    /// Autoclaved aerated concrete.
    Aac,
    /// Fired clay.
    Clay,
    /// Acrylic.
    Acrylic,
    /// Soda-lime glass.
    Glass,
    /// Expanded cork board.
    Cork,
    /// Printed polymer, partly hollow.
    Printed,
}

/// Numbers of a material near 25 °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Numbers {
    /// Conductivity, W m⁻¹ K⁻¹.
    pub conductivity_w_mk: f64,
    /// Heat capacity of a volume, J m⁻³ K⁻¹.
    pub capacity_j_m3k: f64,
    /// Water taken up between dry air and saturated air, kg per m³ (rough; Hailwood and Horrobin for wood, else no source).
    pub moisture_kg_m3: f64,
}

impl Material {
    /// Every material.
    pub const ALL: [Self; 10] = [
        Self::Oak,
        Self::Beech,
        Self::Pine,
        Self::Plaster,
        Self::Aac,
        Self::Clay,
        Self::Acrylic,
        Self::Glass,
        Self::Cork,
        Self::Printed,
    ];

    /// The name as a shelf file says it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Oak => "oak",
            Self::Beech => "beech",
            Self::Pine => "pine",
            Self::Plaster => "plaster",
            Self::Aac => "aac",
            Self::Clay => "clay",
            Self::Acrylic => "acrylic",
            Self::Glass => "glass",
            Self::Cork => "cork",
            Self::Printed => "printed",
        }
    }

    /// Handbook numbers: wood by the Wood Handbook (FPL-GTR-190, eq. 4-15), acrylic and glass by EN ISO 10077-2, plaster
    /// by EN ISO 10456, aerated concrete by EN 1745, clay from building-physics data sheets, cork by CIBSE Guide A, the
    /// printed polymer as polylactide at three fifths fill (no source).
    pub fn numbers(self) -> Numbers {
        let (conductivity_w_mk, density, heat, moisture_kg_m3) = match self {
            Self::Oak => (0.172, 700.0, 1650.0, 110.0),
            Self::Beech => (0.18, 700.0, 1600.0, 110.0),
            Self::Pine => (0.116, 450.0, 1650.0, 80.0),
            Self::Plaster => (0.43, 1200.0, 1000.0, 25.0),
            Self::Aac => (0.14, 450.0, 1000.0, 20.0),
            Self::Clay => (0.8, 1700.0, 936.0, 15.0),
            Self::Acrylic => (0.18, 1180.0, 1500.0, 2.0),
            Self::Glass => (1.0, 2500.0, 750.0, 0.1),
            Self::Cork => (0.04, 110.0, 1600.0, 5.0),
            Self::Printed => (0.09, 750.0, 1800.0, 1.0),
        };
        Numbers { conductivity_w_mk, capacity_j_m3k: density * heat, moisture_kg_m3 }
    }
}
