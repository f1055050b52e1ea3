#include "firstedge/core/error.hpp"
#include "firstedge/io/applied_delay_json.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/csv_rows.hpp"
#include "firstedge/io/provenance_json.hpp"
#include "firstedge/io/stamp_fields.hpp"
#include "firstedge/io/stamp_part_json.hpp"
#include "firstedge/io/stamp_table_csv.hpp"
#include "firstedge/io/stamp_table_words.hpp"

#include <map>
#include <optional>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t largest_head = std::size_t{64} << 20U;
constexpr std::size_t most_words = 65536;  // channels and methods are numbered in 16 bits

const std::string remedy = "use a table as firstedge-stamp wrote it";

using Numbers = std::map<std::string, std::uint16_t>;

Numbers numbers_of(const std::vector<std::string>& labels) {
  Numbers numbers;
  for (std::size_t i = 0; i < labels.size(); ++i) numbers[labels[i]] = static_cast<std::uint16_t>(i);
  return numbers;
}

std::uint16_t number_of(const Numbers& numbers, const std::string& label, const CsvFields& fields) {
  const auto found = numbers.find(label);
  if (found == numbers.end()) fields.refuse(fmt::format("names '{}', which the head does not list", label));
  return found->second;
}

FlagSet flags_of(const std::string& text, const CsvFields& fields) {
  FlagSet flags;
  std::size_t start = 0;
  while (start < text.size()) {
    const std::string word = text.substr(start, text.find('+', start) - start);
    start += word.size() + 1;
    std::optional<FlagSet> found;
    for (std::uint32_t bit = 0; bit < 32 && !found; ++bit) {
      const FlagSet one = FlagSet::from_bits(1U << bit);
      if (to_text(one) == word) found = one;
    }
    if (!found) fields.refuse(fmt::format("has the flag '{}'", word));
    flags |= *found;
  }
  return flags;
}

template <class Number>
void read_field(Stamp& stamp, Number Stamp::*member, const char* name, CsvFields& fields,
                const Numbers& channels, const Numbers& methods) {
  if constexpr (std::is_same_v<Number, double>) {
    stamp.*member = fields.number_or_nan(name);
  } else if constexpr (std::is_same_v<Number, std::uint16_t>) {
    if (member == &Stamp::channel || member == &Stamp::method) {
      const std::string label = fields.next();
      stamp.*member = number_of(member == &Stamp::channel ? channels : methods, label, fields);
    } else {
      stamp.*member = fields.number<Number>(name);
    }
  } else {
    stamp.*member = fields.number<Number>(name);
  }
}

TriggerRow trigger_of(std::string_view line, const std::string& place) {
  CsvFields fields(line, place, remedy);
  TriggerRow row;
  row.record = fields.number<std::uint64_t>("record");
  const std::string scale = fields.next();
  const std::optional<TimeScale> known = time_scale_named(scale);
  if (!known) fields.refuse(fmt::format("has the time scale '{}'", scale));
  row.instant.scale = *known;
  row.instant.seconds = fields.number<std::int64_t>("second");
  row.instant.femtoseconds = fields.number<std::int64_t>("femtosecond");
  fields.finish();
  return row;
}

}  // namespace

class CsvStampReader::Source {
 public:
  explicit Source(std::filesystem::path file) : file_(std::move(file)) {
    ByteSource::from_file(file_);
    lines_.emplace(file_, remedy);
    read_head();
    channels_ = numbers_of(stamp_words::channel_labels(head_));
    methods_ = numbers_of(stamp_words::method_labels(head_));
    CsvLines rest(file_, remedy);
    for (std::size_t i = 0; i < head_lines_; ++i) rest.next();
    while (const auto line = rest.next()) size_ += line->empty() || line->front() == '#' ? 0 : 1;
  }

  const StampTableHead& head() const { return head_; }
  std::uint64_t size() const { return size_; }

  std::vector<Stamp> next_block(std::size_t max_stamps) {
    std::vector<Stamp> stamps;
    while (stamps.size() < max_stamps) {
      const auto line = lines_->next();
      if (!line) break;
      if (line->empty() || line->front() == '#') continue;
      CsvFields fields(*line, lines_->place(), remedy);
      Stamp& stamp = stamps.emplace_back();
      for_each_stamp_number([&](const char* name, auto member) {
        read_field(stamp, member, name, fields, channels_, methods_);
      });
      stamp.flags = flags_of(fields.next(), fields);
      fields.finish();
    }
    return stamps;
  }

  std::vector<TriggerRow> triggers() {
    std::vector<TriggerRow> rows;
    CsvLines lines(file_, remedy);
    while (const auto line = lines.next()) {
      if (line->starts_with(stamp_words::trigger_line))
        rows.push_back(
            trigger_of(std::string_view(*line).substr(stamp_words::trigger_line.size()), lines.place()));
    }
    return rows;
  }

 private:
  void read_head() {
    if (next_head_line() != stamp_words::first_line) {
      throw Error(file_.string(),
                  fmt::format("is not a stamp table (its first line is not '{}')", stamp_words::first_line),
                  "give a file that firstedge-stamp wrote");
    }
    std::string line = next_head_line();
    const auto text_behind = [&](std::string_view word) -> std::optional<std::string> {
      if (!line.starts_with(word)) return std::nullopt;
      return line.substr(word.size());
    };
    for (; line.starts_with('#'); line = next_head_line()) {
      const std::string place = lines_->place();
      if (const auto title = text_behind(stamp_words::title_line))
        head_.title = stamp_words::text_from_json(*title, place);
      if (const auto channel = text_behind(stamp_words::channel_line))
        head_.channels.push_back(stamp_words::channel_from_json(*channel, place));
      if (const auto method = text_behind(stamp_words::method_line))
        head_.methods.push_back(stamp_words::method_from_json(*method, place));
      if (const auto provenance = text_behind(stamp_words::provenance_line))
        head_.provenance = provenance_from_json(*provenance, place);
      if (const auto delays = text_behind(stamp_words::delays_line))
        head_.applied_delays = applied_delays_from_json(*delays, place);
      if (const auto part = text_behind(stamp_words::part_line))
        head_.part = stamp_part_from_json(*part, place);
      if (head_.channels.size() > most_words || head_.methods.size() > most_words)
        throw Error(place, "there are more than 65536 channels or methods", "the file is damaged");
    }
    if (line != stamp_words::columns()) {
      throw Error(lines_->place(), "the columns are not those of a stamp table",
                  "they should be " + stamp_words::columns());
    }
  }

  std::string next_head_line() {
    const auto line = lines_->next();
    if (!line) throw Error(lines_->place(), "the file ends in its head", "copy it again");
    ++head_lines_;
    head_bytes_ += line->size();
    if (head_bytes_ > largest_head)
      throw Error(lines_->place(), "the head is larger than 64 MiB",
                  "use a table as firstedge-stamp wrote it");
    return *line;
  }

  std::filesystem::path file_;
  std::optional<CsvLines> lines_;
  std::size_t head_lines_ = 0;
  std::size_t head_bytes_ = 0;
  StampTableHead head_;
  Numbers channels_, methods_;
  std::uint64_t size_ = 0;
};

CsvStampReader::CsvStampReader(const std::filesystem::path& file) : source_(std::make_unique<Source>(file)) {}
CsvStampReader::~CsvStampReader() = default;
const StampTableHead& CsvStampReader::head() const {
  return source_->head();
}
std::uint64_t CsvStampReader::size() const {
  return source_->size();
}
std::vector<Stamp> CsvStampReader::next_block(std::size_t max_stamps) {
  return source_->next_block(max_stamps);
}
std::vector<TriggerRow> CsvStampReader::triggers() {
  return source_->triggers();
}

}  // namespace firstedge
