#include "firstedge/io/stamp_table_rows.hpp"

namespace firstedge {

H5::CompType stamp_type() {
  PackedType type;
  for_each_stamp_number(
      [&](const char* name, auto member) { type.add_number<StampField<decltype(member)>>(name); });
  type.add_number<std::uint32_t>(stamp_flags_name);
  return type.type();
}

H5::CompType trigger_type() {
  PackedType type;
  type.add_number<std::uint64_t>("record");
  type.add_number<std::int64_t>("seconds");
  type.add_number<std::int64_t>("femtoseconds");
  type.add_number<std::uint8_t>("scale");
  return type.type();
}

H5::CompType channel_type(std::size_t name_bytes, std::size_t sensor_bytes) {
  PackedType type;
  type.add_text("name", name_bytes);
  type.add_text("sensor", sensor_bytes);
  type.add_number<double>("interval_s");
  type.add_number<double>("load_ohm");
  type.add_number<double>("noise_v");
  return type.type();
}

H5::CompType method_type(std::size_t name_bytes, std::size_t settings_bytes) {
  PackedType type;
  type.add_text("name", name_bytes);
  type.add_text("settings", settings_bytes);
  return type.type();
}

}  // namespace firstedge
