//! The shelf file as it is written, every key optional: what is missing is judged where its meaning is known.
//! Field names are the file's keys; [`super::schema`] says what each takes, the example file what each means.
use serde::Deserialize;

/// The whole file.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawFile {
    pub(super) shelf: RawShelf,
    pub(super) nest: Vec<RawNest>,
    pub(super) broker: RawBroker,
    pub(super) history: RawHistory,
    pub(super) web: RawWeb,
    pub(super) alarm: RawAlarm,
    pub(super) recipient: Vec<RawRecipient>,
    pub(super) notice: Vec<RawNotice>,
    pub(super) heartbeat: Option<RawHeartbeat>,
    pub(super) influx: Option<RawInflux>,
    pub(super) mapping: Vec<RawMapping>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawShelf {
    pub(super) name: Option<String>,
    #[serde(rename = "where")]
    pub(super) place: Option<String>,
    pub(super) emergency: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawNest {
    pub(super) id: Option<String>,
    pub(super) kind: Option<String>,
    pub(super) joined_to: Option<String>,
    pub(super) length_mm: Option<f64>,
    pub(super) width_mm: Option<f64>,
    pub(super) height_mm: Option<f64>,
    pub(super) material: Option<RawMaterial>,
    pub(super) cover: Option<String>,
    pub(super) material_limit_c: Option<f64>,
    pub(super) since: Option<String>,
    pub(super) degree_days_above_c: Option<f64>,
    pub(super) pad: Vec<RawPad>,
    pub(super) brood: Option<RawStretch>,
    pub(super) band: Option<RawBand>,
    pub(super) humidity: Option<RawHumidity>,
    pub(super) probe: Vec<RawProbe>,
    pub(super) room: Option<RawRoom>,
    pub(super) season: Vec<RawSeason>,
}

#[derive(Debug, Deserialize)]
#[serde(untagged)]
pub(super) enum RawMaterial {
    Named(String),
    Own(RawNumbers),
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawNumbers {
    pub(super) conductivity_w_mk: Option<f64>,
    pub(super) density_kg_m3: Option<f64>,
    pub(super) heat_capacity_j_kgk: Option<f64>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawPad {
    pub(super) id: Option<String>,
    pub(super) shared: Option<String>,
    pub(super) from_mm: Option<f64>,
    pub(super) to_mm: Option<f64>,
    pub(super) watts: Option<f64>,
    pub(super) drive: Option<String>,
    pub(super) thermostat_c: Option<f64>,
    pub(super) thermostat_at_mm: Option<f64>,
    #[serde(rename = "where")]
    pub(super) place: Option<String>,
    pub(super) plug: Option<String>,
    pub(super) cutoff: Option<String>,
    pub(super) permit_key_file: Option<String>,
    pub(super) permit_duty: Option<f64>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawStretch {
    pub(super) from_mm: Option<f64>,
    pub(super) to_mm: Option<f64>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawBand {
    pub(super) low_c: Option<f64>,
    pub(super) high_c: Option<f64>,
    pub(super) limit_c: Option<f64>,
    pub(super) hot_c: Option<f64>,
    pub(super) why: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawHumidity {
    pub(super) low_pct: Option<f64>,
    pub(super) high_pct: Option<f64>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawProbe {
    pub(super) source: Option<String>,
    pub(super) at_mm: Option<f64>,
    pub(super) offset_k: Option<f64>,
    pub(super) offset_pct: Option<f64>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawRoom {
    pub(super) source: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawSeason {
    pub(super) from: Option<String>,
    pub(super) to: Option<String>,
    pub(super) kind: Option<String>,
    pub(super) low_c: Option<f64>,
    pub(super) high_c: Option<f64>,
    pub(super) limit_c: Option<f64>,
    pub(super) hot_c: Option<f64>,
    pub(super) why: Option<String>,
    pub(super) pad: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawBroker {
    pub(super) embedded: Option<String>,
    pub(super) url: Option<String>,
    pub(super) user: Option<String>,
    pub(super) password_file: Option<String>,
    pub(super) users_file: Option<String>,
    pub(super) acts_from: Option<Vec<String>>,
    pub(super) prefix: Option<String>,
    pub(super) client_id: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawHistory {
    pub(super) path: Option<String>,
    pub(super) commit_s: Option<f64>,
    pub(super) max_mb: Option<u32>,
    pub(super) max_days: Option<u32>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawWeb {
    pub(super) listen: Option<String>,
    pub(super) url: Option<String>,
    pub(super) password_file: Option<String>,
    pub(super) reading: Option<String>,
    pub(super) cert_file: Option<String>,
    pub(super) key_file: Option<String>,
    pub(super) proxy: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawHeartbeat {
    pub(super) url: Option<String>,
    pub(super) every_min: Option<f64>,
    pub(super) watches: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawRecipient {
    pub(super) name: Option<String>,
    pub(super) phone: Option<String>,
    pub(super) from: Option<String>,
    pub(super) until: Option<String>,
    pub(super) quiet_from: Option<String>,
    pub(super) quiet_to: Option<String>,
    pub(super) time_zone: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawAlarm {
    pub(super) deadband_k: Option<f64>,
    pub(super) hot_on_delay_min: Option<f64>,
    pub(super) cold_on_delay_min: Option<f64>,
    pub(super) limit_on_delay_min: Option<f64>,
    pub(super) hot_off_delay_min: Option<f64>,
    pub(super) cold_off_delay_min: Option<f64>,
    pub(super) limit_off_delay_min: Option<f64>,
    pub(super) heater_off_delay_min: Option<f64>,
    pub(super) other_off_delay_min: Option<f64>,
    pub(super) chatter_within_min: Option<f64>,
    pub(super) excused_min: Option<f64>,
    pub(super) chatter_raised: Option<u32>,
    pub(super) worse_k: Option<f64>,
    pub(super) forecast_hot_min: Option<f64>,
    pub(super) forecast_cold_min: Option<f64>,
    pub(super) forecast_sustained_min: Option<f64>,
    pub(super) silent_missed: Option<u32>,
    pub(super) silent_at_least_min: Option<f64>,
    pub(super) unwatched_after_min: Option<f64>,
    pub(super) flat_span_k: Option<f64>,
    pub(super) flat_on_delay_min: Option<f64>,
    pub(super) rest_on_delay_min: Option<f64>,
    pub(super) humidity_deadband_pct: Option<f64>,
    pub(super) humidity_on_delay_min: Option<f64>,
    pub(super) water_on_delay_min: Option<f64>,
    pub(super) learning_min: Option<f64>,
    pub(super) remind_min: Option<f64>,
    pub(super) season_utc_offset_min: Option<f64>,
    #[serde(rename = "brood-cold")]
    pub(super) brood_cold: RawManner,
    #[serde(rename = "brood-hot")]
    pub(super) brood_hot: RawManner,
    #[serde(rename = "brood-limit")]
    pub(super) brood_limit: RawManner,
    #[serde(rename = "probe-hot")]
    pub(super) probe_hot: RawManner,
    #[serde(rename = "forecast-hot")]
    pub(super) forecast_hot: RawManner,
    #[serde(rename = "forecast-cold")]
    pub(super) forecast_cold: RawManner,
    #[serde(rename = "heater-stuck-on")]
    pub(super) heater_stuck_on: RawManner,
    #[serde(rename = "heater-no-heat")]
    pub(super) heater_no_heat: RawManner,
    #[serde(rename = "gradient-flat")]
    pub(super) gradient_flat: RawManner,
    #[serde(rename = "probe-silent")]
    pub(super) probe_silent: RawManner,
    #[serde(rename = "probe-implausible")]
    pub(super) probe_implausible: RawManner,
    #[serde(rename = "humidity-low")]
    pub(super) humidity_low: RawManner,
    #[serde(rename = "humidity-high")]
    pub(super) humidity_high: RawManner,
    pub(super) condensation: RawManner,
    #[serde(rename = "water-low")]
    pub(super) water_low: RawManner,
    #[serde(rename = "nest-unwatched")]
    pub(super) nest_unwatched: RawManner,
    #[serde(rename = "rest-warm")]
    pub(super) rest_warm: RawManner,
    #[serde(rename = "broker-lost")]
    pub(super) broker_lost: RawManner,
}

#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawManner {
    pub(super) on_delay_min: Option<f64>,
    pub(super) off_delay_min: Option<f64>,
    pub(super) deadband_k: Option<f64>,
    pub(super) deadband_pct: Option<f64>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawNotice {
    pub(super) way: Option<String>,
    pub(super) url: Option<String>,
    pub(super) token_file: Option<String>,
    pub(super) secret_file: Option<String>,
    pub(super) command: Option<Vec<String>>,
    pub(super) topic: Option<String>,
    pub(super) server: Option<String>,
    pub(super) from: Option<String>,
    pub(super) to: Option<Vec<String>>,
    pub(super) user: Option<String>,
    pub(super) password_file: Option<String>,
    pub(super) ca_file: Option<String>,
    pub(super) recipient: Option<String>,
    pub(super) least: Option<String>,
    pub(super) after_min: Option<f64>,
    pub(super) quiet_from: Option<String>,
    pub(super) quiet_to: Option<String>,
    pub(super) time_zone: Option<String>,
    pub(super) daily_at: Option<String>,
    pub(super) weekly_at: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawInflux {
    pub(super) url: Option<String>,
    pub(super) org: Option<String>,
    pub(super) bucket: Option<String>,
    pub(super) token_file: Option<String>,
    pub(super) shelf_tag: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct RawMapping {
    pub(super) topic: Option<String>,
    pub(super) pointer: Option<String>,
    pub(super) unit: Option<String>,
    pub(super) source: Option<String>,
}
