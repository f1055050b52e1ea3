#include "firstedge/io/stamp_table_csv.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/applied_delay_json.hpp"
#include "firstedge/io/part_file.hpp"
#include "firstedge/io/provenance_json.hpp"
#include "firstedge/io/stamp_fields.hpp"
#include "firstedge/io/stamp_part_json.hpp"
#include "firstedge/io/stamp_table_words.hpp"

#include <charconv>
#include <cmath>
#include <fstream>

#include <fmt/format.h>

namespace firstedge {
namespace {

// The shortest text that reads back to the same double; nothing for NaN.
void append_number(std::string& line, double number) {
  if (std::isnan(number)) return;
  char text[32];
  const auto end = std::to_chars(text, text + sizeof text, number).ptr;
  line.append(text, end);
}

template <class Integer>
void append_number(std::string& line, Integer number) {
  line += std::to_string(number);
}

}  // namespace

class CsvStampWriter::Sink {
 public:
  Sink(const std::filesystem::path& file, const StampTableHead& head)
      : part_(file),
        stream_(part_.part(), std::ios::binary | std::ios::trunc),
        channels_(quoted(stamp_words::channel_labels(head))),
        methods_(quoted(stamp_words::method_labels(head))) {
    std::string text = fmt::format("{}\n{}{}\n", stamp_words::first_line, stamp_words::title_line,
                                   stamp_words::json_line(head.title));
    for (const auto& channel : head.channels)
      text += fmt::format("{}{}\n", stamp_words::channel_line, stamp_words::json_line(channel));
    for (const auto& method : head.methods)
      text += fmt::format("{}{}\n", stamp_words::method_line, stamp_words::json_line(method));
    provenance_at_ = text.size();
    text += provenance_text(head.provenance);
    if (!head.applied_delays.empty())
      text += fmt::format("{}{}\n", stamp_words::delays_line, applied_delays_json(head.applied_delays));
    if (head.part) text += fmt::format("{}{}\n", stamp_words::part_line, stamp_part_json(*head.part));
    put(text + stamp_words::columns() + '\n');
  }

  void write_stamps(std::span<const Stamp> stamps) {
    std::string text;
    for (const Stamp& stamp : stamps) {
      for_each_stamp_number([&](const char*, auto member) {
        append_field(text, stamp, member);
        text += ',';
      });
      text += to_text(stamp.flags) + '\n';
      if (text.size() > enough_bytes) {
        put(text);
        text.clear();
      }
    }
    put(text);
  }

  void write_triggers(std::span<const TriggerRow> triggers) {
    std::string text;
    for (const TriggerRow& row : triggers) {
      text += fmt::format("{}{},{},{},{}\n", stamp_words::trigger_line, row.record,
                          to_text(row.instant.scale), row.instant.seconds, row.instant.femtoseconds);
    }
    put(text);
  }

  void complete(const Provenance& provenance) {
    stream_.seekp(static_cast<std::streamoff>(provenance_at_));
    put(provenance_text(provenance));
    stream_.seekp(0, std::ios::end);
  }

  void finish() {
    stream_.close();
    refuse_failure();
    part_.commit();
  }

 private:
  static constexpr std::size_t enough_bytes = std::size_t{1} << 20U;

  static std::vector<std::string> quoted(std::vector<std::string> labels) {
    for (std::string& label : labels) label = stamp_words::field(label);
    return labels;
  }

  template <class Number>
  void append_field(std::string& text, const Stamp& stamp, Number Stamp::*member) const {
    if constexpr (std::is_same_v<Number, std::uint16_t>) {
      if (member == &Stamp::channel || member == &Stamp::method) {
        text += (member == &Stamp::channel ? channels_ : methods_).at(stamp.*member);
        return;
      }
    }
    append_number(text, stamp.*member);
  }

  static std::string provenance_text(const Provenance& provenance) {
    return fmt::format("{}{}\n", stamp_words::provenance_line, provenance_json(provenance));
  }

  void put(const std::string& text) {
    stream_ << text;
    refuse_failure();
  }

  void refuse_failure() const {
    if (!stream_)
      throw Error(part_.name().string(), "cannot be written", "check the disk's free space and permissions");
  }

  PartFile part_;
  std::ofstream stream_;
  std::vector<std::string> channels_, methods_;
  std::size_t provenance_at_ = 0;  // in the file
};

CsvStampWriter::CsvStampWriter(const std::filesystem::path& file, const StampTableHead& head)
    : sink_(std::make_unique<Sink>(file, head)) {}
CsvStampWriter::~CsvStampWriter() = default;
void CsvStampWriter::write_stamps(std::span<const Stamp> stamps) {
  sink_->write_stamps(stamps);
}
void CsvStampWriter::write_triggers(std::span<const TriggerRow> triggers) {
  sink_->write_triggers(triggers);
}
void CsvStampWriter::complete(const Provenance& provenance) {
  sink_->complete(provenance);
}
void CsvStampWriter::finish() {
  sink_->finish();
}

}  // namespace firstedge
