// Opens runs of delimited text: one file or many, one record a file or many.
#pragma once

#include "firstedge/core/settings.hpp"
#include "firstedge/io/record_reader.hpp"

#include <filesystem>
#include <memory>
#include <vector>

namespace firstedge {

/// Opens a run of text files. What a file does not say is guessed from its first 64 KiB (1 MiB if no numbers
/// stand there); RunDescription::guesses holds each guess as one sentence that names the setting which
/// overrides it. Rows, columns and records are told apart as text_dialect.hpp, text_roles.hpp and
/// text_records.hpp say; header words that have a meaning are listed in text_header.hpp. Counts are the
/// printed numbers, volts_per_count the unit; a column in counts is int32 where all its numbers are whole.
///
/// Files without "pattern" are read one after the other, each with its own header, columns and time base.
/// With {record} in the pattern a file holds one record, numbered from the lowest number on; with {channel}
/// the i-th records of the files of one number are the channels of one record. The channels of the run are
///   - with {channel}: the channels of the pattern (for files of several voltage columns: pattern's and
///   column's
///     name), of which the first readable file of each, of at most 64, is looked into;
///   - else those of "channels", or those named in the first, the middle and the last file.
/// A later file with another channel is told as a problem and that channel left out.
///
/// Settings of the input group, all optional:
///   "delimiter"          "comma", "semicolon", "tab", "space" (any run of blanks and tabs), or one character
///   "decimal"            "point" or "comma"
///   "header_lines"       lines above the first row of each file
///   "column_names"       list: titles of all columns from the left, "time (ns)" with a unit if there is one
///   "time_column"        name, number from 1, or "none"
///   "voltage_columns"    list of names or numbers
///   "record_column"      name, number, or "none": a column that counts records
///   "channels"           list: names of the voltage columns in their order; with {channel} in the pattern
///                        the channels wanted, in the order wanted
///   "interval"           time from sample to sample; stands over a column of times
///   "first_sample"       time of the first sample from the trigger
///   "time_unit"          "s", "ms", "us", "ns", "ps"
///   "voltage_unit"       "V", "mV", "uV", "counts"; or a list, one a voltage column
///   "volts_per_count"    voltage of one count; the columns are in counts then
///   "offset"             voltage added to every sample
///   "lowest_count", "highest_count"   the digitizer's limits, in the unit in which the numbers are printed
///   "record_length"      rows a record
///   "record_separators"  list out of "blank line", "header", "time", or "none"
///   "time_scale"         "UTC", "TAI", "GPS": of trigger instants in headers that end in no Z
///   "pattern"            file names with {channel} and {record} (file_pattern.hpp)
///
/// Throws Error for settings that are wrong and if none of the files looked into can be read. Damage met
/// later is put into the account: a bad record is left out and counted, a file that cannot be read counts as
/// one bad record. Of a record whose channels stand in several files the good channels are handed over, the
/// others are empty and counted. All threads parse: up to 64 files are begun ahead of their turn, some 8 MiB
/// of them or one larger file. Memory is that of the records handed over and begun, and 2 MiB a large file
/// open.
std::unique_ptr<RecordReader> open_text(const std::vector<std::filesystem::path>& files,
                                        const Settings& input);

}  // namespace firstedge
