#include "firstedge/io/stamp_table_hdf5.hpp"

#include "firstedge/io/applied_delay_json.hpp"
#include "firstedge/io/part_file.hpp"
#include "firstedge/io/provenance_json.hpp"
#include "firstedge/io/stamp_part_json.hpp"
#include "firstedge/io/stamp_table_rows.hpp"

#include <algorithm>
#include <optional>

namespace firstedge {
namespace {

// The longest of one text of all rows, at least 1.
template <class Row>
std::size_t longest(const std::vector<Row>& rows, std::string Row::*text) {
  std::size_t bytes = 1;
  for (const Row& row : rows) bytes = std::max(bytes, (row.*text).size());
  return bytes;
}

void write_words(const H5::Group& root, const std::string& name, const H5::CompType& type, std::size_t count,
                 const RowBytes& rows) {
  Hdf5Rows dataset(root, name,
                   {.element = type, .rows_in_chunk = std::max<std::size_t>(count, 1), .deflate_level = 0});
  dataset.append(rows.bytes());
  dataset.flush();
}

}  // namespace

class Hdf5StampWriter::Sink {
 public:
  Sink(const std::filesystem::path& file, const StampTableHead& head) : part_(file) {
    for (const auto& method : head.methods) refuse_long(method.name + method.settings);
    for (const auto& channel : head.channels) refuse_long(channel.name + channel.sensor);
    run([&] {
      root_.emplace(create_hdf5(part_.part()));
      write_head(head);
      stamps_.emplace(*root_, "stamps",
                      Hdf5RowsLayout{.element = stamp_type(), .rows_in_chunk = stamp_layout::rows_in_chunk});
    });
  }
  ~Sink() {
    const Hdf5Guard guard;
    if (root_) abandon_hdf5(*root_);
    close();
  }
  Sink(const Sink&) = delete;
  Sink& operator=(const Sink&) = delete;

  void write_stamps(std::span<const Stamp> stamps) {
    while (!stamps.empty()) {
      const auto part = stamps.first(std::min<std::size_t>(stamps.size(), stamp_layout::rows_in_chunk));
      stamps = stamps.subspan(part.size());
      RowBytes rows;
      for (const Stamp& stamp : part) {
        for_each_stamp_number([&](const char*, auto member) { rows.add(stamp.*member); });
        rows.add(stamp.flags.bits());
      }
      run([&] { stamps_->append(rows.bytes()); });
    }
  }

  void write_triggers(std::span<const TriggerRow> triggers) {
    RowBytes rows;
    for (const TriggerRow& row : triggers) {
      rows.add(row.record);
      rows.add(row.instant.seconds);
      rows.add(row.instant.femtoseconds);
      rows.add(static_cast<std::uint8_t>(row.instant.scale));
    }
    run([&] {
      if (!triggers_) {
        stamps_->flush();
        triggers_.emplace(
            *root_, "triggers",
            Hdf5RowsLayout{.element = trigger_type(), .rows_in_chunk = stamp_layout::rows_in_chunk});
      }
      triggers_->append(rows.bytes());
    });
  }

  void complete(const Provenance& provenance) {
    run([&] { write_attribute(*root_, "provenance", provenance_json(provenance)); });
  }

  void finish() {
    run([&] {
      stamps_->flush();
      if (triggers_) triggers_->flush();
      root_->flush(H5F_SCOPE_GLOBAL);  // while everything is open, so that a full disk can be told
      close();
    });
    part_.commit();
  }

 private:
  void refuse_long(const std::string& words) const {
    if (words.size() <= stamp_layout::longest_word) return;
    throw Error(part_.name().string(), "the words of a channel or method take more than 64 KiB",
                "shorten them");
  }

  void write_head(const StampTableHead& head) {
    write_attribute(*root_, "layout", std::string(stamp_layout::name));
    write_attribute(*root_, "title", head.title);
    write_attribute(*root_, "provenance", provenance_json(head.provenance));
    if (!head.applied_delays.empty())
      write_attribute(*root_, "applied_delays", applied_delays_json(head.applied_delays));
    if (head.part) write_attribute(*root_, "part", stamp_part_json(*head.part));

    const std::size_t name = longest(head.channels, &StampTableHead::Channel::name);
    const std::size_t sensor = longest(head.channels, &StampTableHead::Channel::sensor);
    RowBytes channels;
    for (const StampTableHead::Channel& channel : head.channels) {
      channels.add_text(channel.name, name);
      channels.add_text(channel.sensor, sensor);
      channels.add(channel.interval_s);
      channels.add(channel.load_ohm);
      channels.add(channel.noise_v);
    }
    write_words(*root_, "channels", channel_type(name, sensor), head.channels.size(), channels);

    const std::size_t method_name = longest(head.methods, &StampTableHead::Method::name);
    const std::size_t settings = longest(head.methods, &StampTableHead::Method::settings);
    RowBytes methods;
    for (const StampTableHead::Method& method : head.methods) {
      methods.add_text(method.name, method_name);
      methods.add_text(method.settings, settings);
    }
    write_words(*root_, "methods", method_type(method_name, settings), head.methods.size(), methods);
  }

  template <class Call>
  void run(Call&& call) {
    guarded(part_.name().string(), "cannot be written", "check the disk's free space and permissions", call);
  }

  void close() {
    stamps_.reset();
    triggers_.reset();
    root_.reset();
  }

  PartFile part_;
  std::optional<H5::H5File> root_;
  std::optional<Hdf5Rows> stamps_, triggers_;
};

Hdf5StampWriter::Hdf5StampWriter(const std::filesystem::path& file, const StampTableHead& head)
    : sink_(std::make_unique<Sink>(file, head)) {}
Hdf5StampWriter::~Hdf5StampWriter() = default;
void Hdf5StampWriter::write_stamps(std::span<const Stamp> stamps) {
  sink_->write_stamps(stamps);
}
void Hdf5StampWriter::write_triggers(std::span<const TriggerRow> triggers) {
  sink_->write_triggers(triggers);
}
void Hdf5StampWriter::complete(const Provenance& provenance) {
  sink_->complete(provenance);
}
void Hdf5StampWriter::finish() {
  sink_->finish();
}

}  // namespace firstedge
