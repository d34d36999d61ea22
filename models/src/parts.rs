//! The shipped parts. All of them are invented: typical of their class, no copy of anything on sale.

/// Name and text (TOML) of every shipped part: `kind`, `title`, `invented` and, under `[params]`, the parameters of
/// the kind with their units.
pub fn shipped() -> &'static [(&'static str, &'static str)] {
    &[
        ("cascode-700v-22m", include_str!("parts/cascode-700v-22m.toml")),
        ("cascode-700v-7m", include_str!("parts/cascode-700v-7m.toml")),
        ("cascode-900v-12m", include_str!("parts/cascode-900v-12m.toml")),
        ("cascode-1100v-28m", include_str!("parts/cascode-1100v-28m.toml")),
        ("cascode-1300v-12m", include_str!("parts/cascode-1300v-12m.toml")),
        ("cascode-1300v-48m", include_str!("parts/cascode-1300v-48m.toml")),
        ("mosfet-sic-700v-12m", include_str!("parts/mosfet-sic-700v-12m.toml")),
        ("mosfet-sic-900v-26m", include_str!("parts/mosfet-sic-900v-26m.toml")),
        ("mosfet-sic-1300v-19m", include_str!("parts/mosfet-sic-1300v-19m.toml")),
        ("mosfet-sic-1300v-82m", include_str!("parts/mosfet-sic-1300v-82m.toml")),
        ("mosfet-sj-620v-115m", include_str!("parts/mosfet-sj-620v-115m.toml")),
        ("mosfet-sj-620v-49m", include_str!("parts/mosfet-sj-620v-49m.toml")),
        ("mosfet-si-28v-0m8", include_str!("parts/mosfet-si-28v-0m8.toml")),
        ("mosfet-si-28v-2m6", include_str!("parts/mosfet-si-28v-2m6.toml")),
        ("diode-sic-700v-50a", include_str!("parts/diode-sic-700v-50a.toml")),
        ("diode-sic-900v-80a", include_str!("parts/diode-sic-900v-80a.toml")),
        ("diode-sic-1300v-35a", include_str!("parts/diode-sic-1300v-35a.toml")),
        ("diode-si-600v-25a", include_str!("parts/diode-si-600v-25a.toml")),
        ("varistor-400v-rail", include_str!("parts/varistor-400v-rail.toml")),
        ("varistor-800v-rail", include_str!("parts/varistor-800v-rail.toml")),
    ]
}
