#include "firstedge/io/hdf5_columns.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double not_there = std::numeric_limits<double>::quiet_NaN();

NumberType type_of(const Hdf5Array& array) {
  return guarded(array.place(), "cannot be opened", "the file is damaged", [&] {
    const std::optional<NumberType> type = number_type(array.type());
    if (!type || array.shape().size() != 1) {
      throw Error(array.place(),
                  fmt::format("is {} in {} dimensions, not a list of numbers", name_of_type(array.type()),
                              array.shape().size()),
                  "give the path of a dataset with one number a record");
    }
    return *type;
  });
}

double attribute_at(const Hdf5File& file, const std::string& path, const std::string& attribute) {
  const Hdf5Guard guard;
  const auto value = [&](const H5::H5Object& object) {
    return number_attribute(object, attribute, file.place(path));
  };
  std::optional<double> number;
  if (path != "/" && file.is_dataset(path)) {
    number = value(file.dataset(path));
  } else {
    number = value(file.group(path));
  }
  if (number) return *number;
  throw Error(file.place(path), fmt::format("the attribute '{}' is missing", attribute),
              "write it, or give the value in the Setup's input group");
}

}  // namespace

Hdf5Column::Hdf5Column(const Hdf5File& file, const std::string& path)
    : array_(file, path), type_(type_of(array_)) {
  array_.require_stored(array_.elements());
}

Hdf5Column::Stretch Hdf5Column::read(std::uint64_t first, std::uint64_t count) {
  const std::uint64_t start = std::min(first, size());
  const std::uint64_t there = std::min(count, size() - start);
  Hdf5Array::Content content = array_.read({{start}, {there}});
  to_native_order(content.bytes, type_);
  Stretch stretch{std::move(content.bytes), std::vector<bool>(count, false)};
  std::fill_n(stretch.good.begin(), there, true);
  for (const Hdf5Array::Damage& damage : content.damage)
    std::fill_n(stretch.good.begin() + static_cast<std::ptrdiff_t>(damage.box.start[0] - start),
                damage.box.count[0], false);
  return stretch;
}

std::vector<double> Hdf5Column::numbers(std::uint64_t first, std::uint64_t count) {
  const Stretch stretch = read(first, count);
  std::vector<double> values = as_doubles(stretch.bytes, type_);
  values.resize(count, not_there);
  for (std::size_t i = 0; i < count; ++i) {
    if (!stretch.good[i]) values[i] = not_there;
  }
  return values;
}

std::vector<std::optional<Hdf5Column::Parts>> Hdf5Column::parts(std::uint64_t first, std::uint64_t count) {
  const Stretch stretch = read(first, count);
  std::vector<std::optional<Parts>> values(count);
  if (type_.kind != NumberType::Kind::real) {
    const std::vector<std::int64_t> whole = as_integers(stretch.bytes, type_);
    for (std::size_t i = 0; i < whole.size(); ++i) {
      if (stretch.good[i]) values[i] = Parts{whole[i], 0};
    }
    return values;
  }
  const std::vector<double> numbers = as_doubles(stretch.bytes, type_);
  for (std::size_t i = 0; i < numbers.size(); ++i) {
    const double whole = std::floor(numbers[i]);
    if (stretch.good[i] && std::abs(whole) < 0x1p63)
      values[i] = Parts{static_cast<std::int64_t>(whole), numbers[i] - whole};
  }
  return values;
}

RecordNumbers::RecordNumbers(const Hdf5File& file, const Hdf5Number& number, const Hdf5Channel& channel)
    : times_(number.times) {
  const auto one_of = [](const std::vector<double>& values, std::uint64_t at, const std::string& place) {
    if (values.size() == 1) return values.front();
    if (at < values.size()) return values[at];
    throw Error(place, fmt::format("has {} numbers, none for channel {}", values.size(), at),
                "give one number a channel; they count from 0");
  };
  const std::string path = number.path.empty() ? channel.dataset : number.path;
  if (!number.constants.empty()) {
    constant_ = one_of(number.constants, channel.index, "the scale in the Setup's input group");
  } else if (!number.attribute.empty()) {
    constant_ = attribute_at(file, path, number.attribute) * times_;
  } else {
    column_ = std::make_shared<Hdf5Column>(file, path);
    if (column_->size() != 1 && !number.by_channel) return;
    constexpr std::uint64_t most_channels = 65536;  // channels are numbered in 16 bits
    const std::vector<double> values = column_->numbers(0, std::min(column_->size(), most_channels));
    constant_ = one_of(values, channel.position.value_or(channel.index), column_->place()) * times_;
    column_.reset();
  }
}

std::vector<double> RecordNumbers::read(std::uint64_t first, std::uint64_t count) {
  if (!column_) return std::vector<double>(count, constant_);
  std::vector<double> values = column_->numbers(first, count);
  if (times_ != 1) {
    for (double& value : values) value *= times_;
  }
  return values;
}

}  // namespace firstedge
