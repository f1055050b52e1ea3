#include "firstedge/io/applied_delay_json.hpp"
#include "firstedge/io/hdf5_array.hpp"
#include "firstedge/io/provenance_json.hpp"
#include "firstedge/io/stamp_part_json.hpp"
#include "firstedge/io/stamp_table_hdf5.hpp"
#include "firstedge/io/stamp_table_rows.hpp"

#include <algorithm>
#include <optional>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

H5::DataType member_type(const H5::DataType& compound, int member) {
  return wrapped<H5::DataType>(checked(H5Tget_member_type(compound.getId(), static_cast<unsigned>(member))));
}

}  // namespace

class Hdf5StampReader::Source {
 public:
  explicit Source(const std::filesystem::path& file) : file_(file) {
    read_head();
    stamps_.emplace(file_, "/stamps");
    refuse_other_type(*stamps_, stamp_type);
    stamps_->require_stored(stamps_->elements());
  }

  const StampTableHead& head() const { return head_; }
  std::uint64_t size() const { return stamps_->elements(); }

  std::vector<Stamp> next_block(std::size_t max_stamps) {
    const std::uint64_t count = std::min<std::uint64_t>(max_stamps, size() - next_);
    const std::vector<std::byte> bytes = rows(*stamps_, next_, count);
    RowReader row(bytes);
    std::vector<Stamp> stamps(count);
    for (Stamp& stamp : stamps) {
      for_each_stamp_number(
          [&](const char*, auto member) { stamp.*member = row.number<StampField<decltype(member)>>(); });
      stamp.flags = FlagSet::from_bits(row.number<std::uint32_t>());
      if (stamp.channel >= head_.channels.size() || stamp.method >= head_.methods.size()) {
        throw Error(stamps_->place(), "a stamp names a channel or method that the table does not list",
                    "the file is damaged: copy or make it again");
      }
    }
    next_ += count;
    return stamps;
  }

  std::vector<TriggerRow> triggers() {
    if (!file_.has("/triggers")) return {};
    Hdf5Array array(file_, "/triggers");
    refuse_other_type(array, trigger_type);
    array.require_stored(array.elements());
    const std::vector<std::byte> bytes = rows(array, 0, array.elements());
    RowReader row(bytes);
    std::vector<TriggerRow> triggers(array.elements());
    for (TriggerRow& trigger : triggers) {
      trigger.record = row.number<std::uint64_t>();
      trigger.instant.seconds = row.number<std::int64_t>();
      trigger.instant.femtoseconds = row.number<std::int64_t>();
      const auto scale = row.number<std::uint8_t>();
      if (scale > static_cast<std::uint8_t>(TimeScale::gps)) {
        throw Error(array.place(), fmt::format("a trigger has the unknown time scale {}", scale),
                    "the file is damaged: copy or make it again");
      }
      trigger.instant.scale = static_cast<TimeScale>(scale);
    }
    return triggers;
  }

 private:
  void read_head() {
    const Hdf5Guard guard;
    const H5::Group root = file_.group("/");
    const std::string place = file_.path().string();
    if (text_attribute(root, "layout", place) != stamp_layout::name) {
      throw Error(place, "is not a stamp table (its attribute 'layout' is another)",
                  "give a file that firstedge-stamp wrote");
    }
    head_.title = text_attribute(root, "title", place).value_or("");
    head_.provenance = provenance_from_json(text_attribute(root, "provenance", place).value_or(""), place);
    if (const auto delays = text_attribute(root, "applied_delays", place))
      head_.applied_delays = applied_delays_from_json(*delays, place);
    if (const auto part = text_attribute(root, "part", place))
      head_.part = stamp_part_from_json(*part, place);

    Hdf5Array channels(file_, "/channels");
    const std::vector<std::size_t> words = word_sizes(channels, {"name", "sensor"});
    refuse_other_type(channels, [&] { return channel_type(words[0], words[1]); });
    const std::vector<std::byte> channel_bytes = rows(channels, 0, channels.elements());
    RowReader channel_row(channel_bytes);
    for (std::uint64_t i = 0; i < channels.elements(); ++i) {
      StampTableHead::Channel& channel = head_.channels.emplace_back();
      channel.name = channel_row.text(words[0]);
      channel.sensor = channel_row.text(words[1]);
      channel.interval_s = channel_row.number<double>();
      channel.load_ohm = channel_row.number<double>();
      channel.noise_v = channel_row.number<double>();
    }

    Hdf5Array methods(file_, "/methods");
    const std::vector<std::size_t> method_words = word_sizes(methods, {"name", "settings"});
    refuse_other_type(methods, [&] { return method_type(method_words[0], method_words[1]); });
    const std::vector<std::byte> method_bytes = rows(methods, 0, methods.elements());
    RowReader method_row(method_bytes);
    for (std::uint64_t i = 0; i < methods.elements(); ++i) {
      StampTableHead::Method& method = head_.methods.emplace_back();
      method.name = method_row.text(method_words[0]);
      method.settings = method_row.text(method_words[1]);
    }
  }

  // The lengths of the text members of a table of words, checked before anything is allocated by them.
  static std::vector<std::size_t> word_sizes(const Hdf5Array& array, const std::vector<std::string>& names) {
    if (array.elements() > stamp_layout::most_rows_of_words ||
        array.elements() * array.element_bytes() > most_text_bytes) {
      throw Error(array.place(), "is larger than a list of channels or methods can be",
                  "the file is damaged");
    }
    array.require_stored(array.elements());
    return guarded(array.place(), "has another type", "give a file that firstedge-stamp wrote", [&] {
      std::vector<std::size_t> sizes;
      for (const std::string& name : names) {
        const int member = checked(H5Tget_member_index(array.type().getId(), name.c_str()));
        sizes.push_back(member_type(array.type(), member).getSize());
      }
      return sizes;
    });
  }

  // Reading by the exact type needs no conversion inside HDF5.
  template <class MakeType>
  static void refuse_other_type(const Hdf5Array& array, MakeType&& make_type) {
    guarded(array.place(), "cannot be opened", "the file is damaged", [&] {
      const H5::CompType wanted = make_type();
      if (array.shape().size() == 1 && array.type() == wanted) return;
      throw Error(array.place(), "is not the table it should be: " + first_difference(array, wanted),
                  "give a file that firstedge-stamp wrote");
    });
  }

  static std::string first_difference(const Hdf5Array& array, const H5::CompType& wanted) {
    if (array.shape().size() != 1) return fmt::format("it has {} dimensions", array.shape().size());
    if (array.type().getClass() != H5T_COMPOUND) return "its rows have no members";
    for (int i = 0; i < wanted.getNmembers(); ++i) {
      const std::string name = wanted.getMemberName(static_cast<unsigned>(i));
      const int member = H5Tget_member_index(array.type().getId(), name.c_str());
      if (member < 0) return fmt::format("the member '{}' is missing", name);
      const bool same =
          member_type(array.type(), member) == wanted.getMemberDataType(static_cast<unsigned>(i));
      if (!same) return fmt::format("the member '{}' has another type", name);
    }
    return "its members stand in other places";
  }

  static std::vector<std::byte> rows(Hdf5Array& array, std::uint64_t first, std::uint64_t count) {
    Hdf5Array::Content content = array.read({{first}, {count}});
    if (!content.damage.empty()) {
      const Hdf5Array::Damage& damage = content.damage.front();
      throw Error(fmt::format("{}, row {}", array.place(), damage.box.start.front()),
                  "a block of rows " + damage.problem, "copy or make the table again");
    }
    return std::move(content.bytes);
  }

  Hdf5File file_;
  StampTableHead head_;
  std::optional<Hdf5Array> stamps_;
  std::uint64_t next_ = 0;
};

Hdf5StampReader::Hdf5StampReader(const std::filesystem::path& file)
    : source_(std::make_unique<Source>(file)) {}
Hdf5StampReader::~Hdf5StampReader() = default;
const StampTableHead& Hdf5StampReader::head() const {
  return source_->head();
}
std::uint64_t Hdf5StampReader::size() const {
  return source_->size();
}
std::vector<Stamp> Hdf5StampReader::next_block(std::size_t max_stamps) {
  return source_->next_block(max_stamps);
}
std::vector<TriggerRow> Hdf5StampReader::triggers() {
  return source_->triggers();
}

}  // namespace firstedge
