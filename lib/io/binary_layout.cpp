#include "firstedge/io/binary_layout.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/json_settings.hpp"

#include <algorithm>
#include <array>
#include <filesystem>
#include <system_error>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

SampleCoding coding_of(const Settings& settings) {
  const std::string word = settings.text("sample_type", "");
  const auto type = sample_type_of(word);
  if (!type) {
    settings.refuse("sample_type", word.empty() ? "is missing" : fmt::format("is '{}'", word),
                    "choose one of int8, uint8, int16, uint16, int32, uint32, float32, float64");
  }
  if (bytes_of(*type) > 1 && !settings.has("byte_order")) {
    settings.refuse("byte_order", fmt::format("is missing for samples of {} bytes", bytes_of(*type)),
                    "give \"little\" or \"big\"");
  }
  return {*type, settings.choice("byte_order", "little", {"little", "big"}) == "big"};
}

std::filesystem::path layout_beside(const std::filesystem::path& file) {
  return file.string() + ".json";
}

// Where the layout of a run stands.
class Layouts {
 public:
  Layouts(const Settings& input, const std::vector<ByteSource>& sources)
      : is_input_(input.has("sample_type")) {
    const std::string named = input.text("layout", "");
    if (is_input_) {
      if (input.has("layout"))
        input.refuse("layout", "stands beside sample_type", "give the layout in one place");
      shared_ = input;
    } else if (input.has("layout")) {
      const std::filesystem::path beside = sources.empty() ? "" : sources.front().path().parent_path();
      shared_ = read(beside / named);
    }
  }

  bool is_input() const { return is_input_; }
  bool is_shared() const { return shared_.has_value(); }

  Settings of(const ByteSource& source) const {
    if (shared_) return *shared_;
    const std::filesystem::path file = layout_beside(source.name());
    if (source.path().empty() || !has_layout_beside(source.path())) {
      throw Error(source.name(), fmt::format("there is no layout {} beside it", file.filename().string()),
                  "write one, or name it in the Setup's input group, \"layout\": \"run.json\"");
    }
    return read(file);
  }

 private:
  static Settings read(const std::filesystem::path& file) {
    return settings_from_json(read_text_file(file, most_json_bytes), file.string());
  }

  bool is_input_;
  std::optional<Settings> shared_;
};

std::vector<std::string> names_in(const Settings& layout) {
  return channel_names(layout, layout.has("channels") ? layout.texts("channels").size() : 1);
}

// The first layout that can be read; the run's channels, guesses and settings are taken from it.
Settings first_layout(const Layouts& layouts, const std::vector<ByteSource>& sources) {
  std::optional<Error> first_problem;
  for (const ByteSource& source : sources) {
    try {
      return layouts.of(source);
    } catch (const Error& problem) {
      if (!first_problem) first_problem = problem;
    }
  }
  throw first_problem.value_or(Error("files", "none is given", "name at least one file"));
}

}  // namespace

std::uint64_t BinaryLayout::record_bytes(std::uint64_t samples_in_record) const {
  return record_header_bytes + samples_in_record * channels * bytes_of(coding.type) + record_footer_bytes;
}

BinaryLayout::Fit BinaryLayout::fit(std::uint64_t bytes_in_record) const {
  if (bytes_in_record < record_bytes(0)) return {};
  const std::uint64_t count = (bytes_in_record - record_bytes(0)) / (channels * bytes_of(coding.type));
  return {count, count > 0 && record_bytes(count) == bytes_in_record};
}

bool has_layout_beside(const std::filesystem::path& file) {
  std::error_code ignored;  // what cannot be looked at is not there
  return std::filesystem::exists(layout_beside(file), ignored);
}

BinaryLayout binary_layout(const Settings& settings, std::size_t channels, std::size_t run_channels,
                           std::size_t first_channel) {
  constexpr std::uint64_t most_file_header_bytes = std::uint64_t{1} << 40U;
  BinaryLayout layout;
  layout.channels = channels;
  layout.file_header_bytes = settings.whole_number("file_header_bytes", 0, 0, most_file_header_bytes);
  layout.record_header_bytes = settings.whole_number("record_header_bytes", 0, 0, most_record_bytes);
  layout.record_footer_bytes = settings.whole_number("record_footer_bytes", 0, 0, most_record_bytes);
  layout.coding = coding_of(settings);
  if (channels > 1 && !settings.has("interleaving")) {
    settings.refuse("interleaving", fmt::format("is missing for {} channels", channels),
                    "give \"by_sample\" or \"by_channel\"");
  }
  layout.by_sample =
      settings.choice("interleaving", "by_channel", {"by_sample", "by_channel"}) == "by_sample";
  // The JSON text has less than 2^20 channels, a sample less than 2^4 bytes: no product below overflows 64
  // bits.
  const std::uint64_t samples = settings.whole_number("samples", 1, 1, most_record_bytes);
  if (layout.record_bytes(samples) > most_record_bytes) {
    settings.refuse("samples", fmt::format("makes records of {} bytes", layout.record_bytes(samples)),
                    fmt::format("records of at most {} bytes are read", most_record_bytes));
  }
  if (settings.has("samples")) layout.samples = static_cast<std::size_t>(samples);
  const auto scales = channel_scales(settings, run_channels);
  for (std::size_t i = 0; i < channels; ++i) layout.scales.push_back(scales.at(first_channel + i));
  if (settings.has("time_stamp")) {
    layout.time_stamp = time_stamp_layout(settings.group("time_stamp"), layout.record_header_bytes);
  }
  return layout;
}

FileRecords decode_records(std::span<const std::byte> bytes, const BinaryLayout& layout, std::size_t records,
                           std::size_t samples, const std::string& place) {
  const std::size_t item = bytes_of(layout.coding.type);
  const auto record_bytes = static_cast<std::size_t>(layout.record_bytes(samples));
  SampleGrid grid;
  grid.records = records;
  grid.channels = layout.channels;
  grid.samples = samples;
  grid.first = layout.record_header_bytes;
  grid.record_stride = record_bytes;
  grid.channel_stride = layout.by_sample ? item : samples * item;
  grid.sample_stride = layout.by_sample ? layout.channels * item : item;
  const DecodedSamples decoded = decode_samples(bytes, layout.coding, grid);
  FileRecords found;
  for (std::size_t i = 0; i < records; ++i) {
    FileRecords::One one;
    one.storage = decoded.storage;
    for (std::size_t channel = 0; channel < layout.channels; ++channel) {
      one.traces.push_back(scaled_trace(decoded.rows[i * layout.channels + channel], layout.scales[channel],
                                        layout.coding.type));
    }
    if (layout.time_stamp) {
      one.trigger = read_time_stamp(bytes.subspan(i * record_bytes, layout.record_header_bytes),
                                    *layout.time_stamp, layout.coding.big_endian);
      if (!one.trigger) {
        found.problems.emplace_back(place, "a record's time stamp is not a date from year 1 to 9999",
                                    "correct \"time_stamp\" in the layout");
      }
    }
    found.records.push_back(std::move(one));
  }
  return found;
}

std::unique_ptr<RecordReader> open_with_layout(const std::string& format, std::vector<ByteSource> sources,
                                               const Settings& input, OpenWithLayout open) {
  input.text("format", "");  // known here, whoever chose the reader
  FileArrangement arrangement = arrange_files(std::move(sources), input);
  const Layouts layouts(input, arrangement.sources);
  const Settings first = first_layout(layouts, arrangement.sources);
  const bool one_file_a_channel = !arrangement.channels.empty();
  RunDescription description;
  description.format = format;
  description.channels = one_file_a_channel ? arrangement.channels : names_in(first);
  description.guesses = scale_guesses(first, coding_of(first).type);
  description.metadata["sample type"] = to_text(coding_of(first).type);
  if (first.group("time_stamp").text("epoch", "") == "relative") {
    description.guesses.emplace_back(
        "the triggers' instants count from 1970 and only their differences mean something; \"epoch\" tells "
        "the start");
  }
  if (!layouts.is_input()) input.finish();
  const auto open_file = [layouts, open, one_file_a_channel, names = description.channels](
                             const ByteSource& source, std::size_t first_channel) {
    const Settings settings = layouts.of(source);
    if (one_file_a_channel) {
      return open(source,
                  binary_layout(settings, 1, layouts.is_shared() ? names.size() : 1,
                                layouts.is_shared() ? first_channel : 0),
                  settings);
    }
    if (names_in(settings) != names) {
      throw Error(source.name(), "has other channels than the files before it",
                  "read it as a run of its own");
    }
    return open(source, binary_layout(settings, names.size(), names.size(), 0), settings);
  };
  return read_file_run(std::move(description), std::move(arrangement), open_file);
}

}  // namespace firstedge
