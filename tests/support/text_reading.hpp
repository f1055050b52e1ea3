// Reads delimited text from memory, for tests: what came out, or the sentence why not.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/text_options.hpp"
#include "firstedge/io/text_records.hpp"

#include "support/reading.hpp"

#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace firstedge::test {

struct TextReading {
  TextLayout layout;
  std::vector<TextRecord> records;
  std::string refusal;  ///< the Error's sentence, if nothing could be read
};

inline ByteSource source_of(std::string_view text) {
  return ByteSource::from_bytes(bytes_of(text), "run.csv");
}

inline TextReading read_text(std::string_view text, const Settings& input = Settings("input")) {
  TextReading reading;
  try {
    TextRecordStream stream = open_text_records(source_of(text), text_options(input));
    reading.layout = stream.layout();
    while (auto record = stream.next()) reading.records.push_back(std::move(*record));
  } catch (const Error& error) {
    reading.refusal = error.what();
  }
  return reading;
}

/// The samples as they were printed, whatever they are kept in.
inline std::vector<double> printed_numbers(const TextTrace& trace) {
  return std::visit([](const auto& counts) { return std::vector<double>(counts.begin(), counts.end()); },
                    trace.counts);
}

/// The sentence of a damaged record, or "".
inline std::string damage_of(const TextRecord& record) {
  return record.damage ? record.damage->what() : "";
}

}  // namespace firstedge::test
