//! Records to take away: CSV as the files of the contract have it, Parquet, FHIR.

use std::sync::Arc;

use formats::weights::Weight;
use jiff::Timestamp;
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::parser::parse_message_type;
use ward::access::Right;
use ward::records;

use super::fhir;
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::ward::endpoint::{Endpoint, Gives, Method};

const CSV: &str = "text/csv; charset=utf-8";
const PARQUET: &str = "application/vnd.apache.parquet";
const FHIR: &str = "application/fhir+json";

pub(crate) const ENDPOINTS: &[Endpoint] = &[
    Endpoint {
        method: Method::Get,
        path: "/api/patients/{patient}/weights.csv",
        right: Some(Right::See),
        about: "All settled weights of a patient, as weights.csv",
        query: &[],
        takes: None,
        gives: Gives::Text(CSV),
        run: |call| file(call, CSV, "weights.csv", |w| Ok(formats::weights::write(w).into_bytes())),
    },
    Endpoint {
        method: Method::Get,
        path: "/api/patients/{patient}/weights.parquet",
        right: Some(Right::See),
        about: "The same as a Parquet file",
        query: &[],
        takes: None,
        gives: Gives::Text(PARQUET),
        run: |call| file(call, PARQUET, "weights.parquet", columns),
    },
    Endpoint {
        method: Method::Get,
        path: "/api/patients/{patient}/chart.csv",
        right: Some(Right::See),
        about: "The chart in force, as chart.csv",
        query: &[],
        takes: None,
        gives: Gives::Text(CSV),
        run: chart_csv,
    },
    Endpoint {
        method: Method::Get,
        path: "/api/patients/{patient}/fhir",
        right: Some(Right::See),
        about: "Weights of every hour and fluid totals of every day as a bundle of HL7 FHIR R4 Observations",
        query: &[],
        takes: None,
        gives: Gives::Text(FHIR),
        run: bundle,
    },
];

fn weights(call: &Call) -> Result<Vec<Weight>, Problem> {
    let label = call.part("patient");
    call.ward.memory.look(|tx| Ok(records::patient_file(tx, label)))??;
    Ok(call.ward.weights(label, i64::MIN, None)?)
}

fn file(
    call: &Call,
    kind: &'static str,
    name: &str,
    write: fn(&[Weight]) -> Result<Vec<u8>, ParquetError>,
) -> Result<Answer, Problem> {
    let bytes = write(&weights(call)?).map_err(|e| Problem::inside(&e.to_string()))?;
    Ok(Answer::Text { kind, name: Some(format!("{}-{name}", call.part("patient"))), bytes })
}

fn chart_csv(call: &Call) -> Result<Answer, Problem> {
    let label = call.part("patient");
    call.ward.memory.look(|tx| Ok(records::patient_file(tx, label)))??;
    let chart = call.ward.memory.look(|tx| Ok(records::chart(tx, label, None)))??;
    let entries = records::chart_entries(&chart)?;
    let bytes = formats::chart::write(&entries).into_bytes();
    Ok(Answer::Text { kind: CSV, name: Some(format!("{label}-chart.csv")), bytes })
}

fn bundle(call: &Call) -> Result<Answer, Problem> {
    let label = call.part("patient");
    let weights = weights(call)?;
    let chart = call.ward.memory.look(|tx| Ok(records::chart(tx, label, None)))??;
    let entries = records::chart_entries(&chart)?;
    let bundle = fhir::bundle(label, &weights, &entries, &call.ward.zone, Timestamp::now());
    let bytes = bundle.to_string().into_bytes();
    Ok(Answer::Text { kind: FHIR, name: Some(format!("{label}-fhir.json")), bytes })
}

/// Weights as a Parquet file: time in µs of UTC, kg, kg, word.
fn columns(weights: &[Weight]) -> Result<Vec<u8>, ParquetError> {
    let schema = Arc::new(parse_message_type(
        "message weights { required int64 time (TIMESTAMP(MICROS,true)); optional double patient_kg; \
         optional double u_kg; required binary state (STRING); }",
    )?);
    let mut writer = SerializedFileWriter::new(Vec::new(), schema, Arc::new(WriterProperties::builder().build()))?;
    let timed: Vec<(i64, &Weight)> = weights.iter().filter_map(|w| w.time.map(|t| (t.as_microsecond(), w))).collect();
    let mut group = writer.next_row_group()?;
    let times: Vec<i64> = timed.iter().map(|(t, _)| *t).collect();
    if let Some(mut column) = group.next_column()? {
        column.typed::<Int64Type>().write_batch(&times, None, None)?;
        column.close()?;
    }
    for value in [|w: &Weight| w.patient_kg, |w: &Weight| w.u_kg] {
        let values: Vec<Option<f64>> = timed.iter().map(|(_, w)| value(w)).collect();
        let levels: Vec<i16> = values.iter().map(|v| i16::from(v.is_some())).collect();
        let values: Vec<f64> = values.into_iter().flatten().collect();
        if let Some(mut column) = group.next_column()? {
            column.typed::<DoubleType>().write_batch(&values, Some(&levels), None)?;
            column.close()?;
        }
    }
    let states: Vec<ByteArray> = timed.iter().map(|(_, w)| ByteArray::from(w.state.word())).collect();
    if let Some(mut column) = group.next_column()? {
        column.typed::<ByteArrayType>().write_batch(&states, None, None)?;
        column.close()?;
    }
    group.close()?;
    writer.into_inner()
}
