#include "firstedge/io/stamp_table.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/hdf5_input.hpp"
#include "firstedge/io/stamp_table_csv.hpp"
#include "firstedge/io/stamp_table_hdf5.hpp"
#include "firstedge/io/stamp_table_words.hpp"

#include <algorithm>
#include <cassert>
#include <fstream>
#include <variant>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

// Triggers on their way: they come between the stamps and stand behind them, and there may be more than
// memory holds, so they wait in a file of their own.
class TriggerSpool {
 public:
  explicit TriggerSpool(const std::filesystem::path& table) : path_(table) { path_ += ".part.triggers"; }
  ~TriggerSpool() {
    std::error_code ignored;
    if (stream_.is_open()) std::filesystem::remove(path_, ignored);
  }
  TriggerSpool(const TriggerSpool&) = delete;
  TriggerSpool& operator=(const TriggerSpool&) = delete;

  void add(std::span<const TriggerRow> rows) {
    if (rows.empty()) return;
    if (!stream_.is_open())
      stream_.open(path_, std::ios::binary | std::ios::in | std::ios::out | std::ios::trunc);
    // The rows as they are in memory: the file is read back by this process alone.
    stream_.write(reinterpret_cast<const char*>(rows.data()),
                  static_cast<std::streamsize>(rows.size_bytes()));
    count_ += rows.size();
    refuse_failure();
  }

  template <class Call>
  void for_each_block(Call&& call) {
    if (count_ == 0) return;
    stream_.seekg(0);
    for (std::uint64_t left = count_; left > 0;) {
      std::vector<TriggerRow> rows(std::min<std::uint64_t>(left, 8192));
      stream_.read(reinterpret_cast<char*>(rows.data()),
                   static_cast<std::streamsize>(rows.size() * sizeof(TriggerRow)));
      refuse_failure();
      call(std::span<const TriggerRow>(rows));
      left -= rows.size();
    }
  }

 private:
  void refuse_failure() const {
    if (!stream_)
      throw Error(path_.string(), "cannot be written", "check the disk's free space and permissions");
  }

  static_assert(std::is_trivially_copyable_v<TriggerRow>);
  std::filesystem::path path_;
  std::fstream stream_;
  std::uint64_t count_ = 0;
};

bool is_csv_name(const std::filesystem::path& file) {
  const std::string extension = file.extension().string();
  if (extension == ".csv") return true;
  if (extension == ".h5" || extension == ".hdf5") return false;
  throw Error(file.string(), fmt::format("the ending '{}' says nothing of the format", extension),
              "end the name of a stamp table in .h5, .hdf5 or .csv");
}

// Reads what is in memory as if it were a file.
class MemoryStampReader {
 public:
  explicit MemoryStampReader(const StampTableInMemory& table) : table_(table), left_(table.stamps) {}
  const StampTableHead& head() const { return *table_.head; }
  std::uint64_t size() const { return table_.stamps.size(); }
  std::vector<Stamp> next_block(std::size_t max_stamps) {
    const std::span<const Stamp> block = left_.first(std::min(max_stamps, left_.size()));
    left_ = left_.subspan(block.size());
    return {block.begin(), block.end()};
  }
  std::vector<TriggerRow> triggers() const { return {table_.triggers.begin(), table_.triggers.end()}; }

 private:
  StampTableInMemory table_;
  std::span<const Stamp> left_;
};

template <class... Kinds>
using OneOf = std::variant<std::unique_ptr<Kinds>...>;

}  // namespace

std::size_t channel_numbered(const StampTableHead& head, const std::string& name, const std::string& place) {
  std::vector<std::string> known;
  for (const StampTableHead::Channel& channel : head.channels) {
    if (channel.name == name) return known.size();
    known.push_back(channel.name);
  }
  throw Error(place, fmt::format("has no channel '{}'", name),
              fmt::format("it has {}", fmt::join(known, ", ")));
}

std::size_t method_numbered(const StampTableHead& head, const std::string& name, const std::string& place) {
  if (name.empty() && !head.methods.empty()) return 0;
  const std::vector<std::string> labels = stamp_words::method_labels(head);
  for (std::size_t i = 0; i < labels.size(); ++i) {
    if (head.methods[i].name == name || labels[i] == name) return i;
  }
  throw Error(place, fmt::format("has no method '{}'", name),
              fmt::format("it has {}", fmt::join(labels, ", ")));
}

std::string place_of(const StampTableAt& table) {
  if (const auto* file = std::get_if<std::filesystem::path>(&table)) return file->string();
  return std::get<StampTableInMemory>(table).name;
}

class StampTableWriter::Sink {
 public:
  Sink(const std::filesystem::path& file, const StampTableHead& head)
      : name_(file.string()),
        channels_(head.channels.size()),
        methods_(head.methods.size()),
        triggers_(file) {
    if (is_csv_name(file)) {
      table_ = std::make_unique<CsvStampWriter>(file, head);
    } else {
      table_ = std::make_unique<Hdf5StampWriter>(file, head);
    }
  }

  void write(std::span<const Stamp> stamps, std::span<const TriggerRow> triggers) {
    for ([[maybe_unused]] const Stamp& stamp : stamps)
      assert(stamp.channel < channels_ && stamp.method < methods_);
    run([&] {
      std::visit([&](auto& table) { table->write_stamps(stamps); }, table_);
      triggers_.add(triggers);
    });
  }

  void complete(const Provenance& provenance) {
    run([&] { std::visit([&](auto& table) { table->complete(provenance); }, table_); });
  }

  void finish() {
    run([&] {
      triggers_.for_each_block([&](std::span<const TriggerRow> rows) {
        std::visit([&](auto& table) { table->write_triggers(rows); }, table_);
      });
      std::visit([](auto& table) { table->finish(); }, table_);
    });
  }

 private:
  // A table that missed a block must never get its name.
  template <class Call>
  void run(Call&& call) {
    if (broken_) throw Error(name_, "cannot be completed after a failure", "start the table anew");
    broken_ = true;
    call();
    broken_ = false;
  }

  std::string name_;
  bool broken_ = false;
  [[maybe_unused]] std::size_t channels_, methods_;
  OneOf<Hdf5StampWriter, CsvStampWriter> table_;
  TriggerSpool triggers_;
};

StampTableWriter::StampTableWriter(const std::filesystem::path& file, const StampTableHead& head)
    : sink_(std::make_unique<Sink>(file, head)) {}
StampTableWriter::~StampTableWriter() = default;
void StampTableWriter::write(std::span<const Stamp> stamps, std::span<const TriggerRow> triggers) {
  sink_->write(stamps, triggers);
}
void StampTableWriter::complete(const Provenance& provenance) {
  sink_->complete(provenance);
}
void StampTableWriter::finish() {
  sink_->finish();
}

class StampTableReader::Source {
 public:
  explicit Source(const std::filesystem::path& file) {
    // By content, so that a table keeps its meaning under any name.
    if (is_hdf5(ByteSource::from_file(file))) {
      table_ = std::make_unique<Hdf5StampReader>(file);
    } else {
      table_ = std::make_unique<CsvStampReader>(file);
    }
  }
  explicit Source(const StampTableInMemory& table) : table_(std::make_unique<MemoryStampReader>(table)) {}
  template <class Call>
  decltype(auto) with(Call&& call) {
    return std::visit([&](auto& table) -> decltype(auto) { return call(*table); }, table_);
  }

 private:
  OneOf<Hdf5StampReader, CsvStampReader, MemoryStampReader> table_;
};

StampTableReader::StampTableReader(const StampTableAt& table)
    : source_(std::visit([](const auto& at) { return std::make_unique<Source>(at); }, table)) {}
StampTableReader::~StampTableReader() = default;
const StampTableHead& StampTableReader::head() const {
  return source_->with([](auto& table) -> const StampTableHead& { return table.head(); });
}
std::uint64_t StampTableReader::size() const {
  return source_->with([](auto& table) { return table.size(); });
}
std::vector<Stamp> StampTableReader::next_block(std::size_t max_stamps) {
  return source_->with([&](auto& table) { return table.next_block(max_stamps); });
}
std::vector<TriggerRow> StampTableReader::triggers() {
  return source_->with([](auto& table) { return table.triggers(); });
}

}  // namespace firstedge
