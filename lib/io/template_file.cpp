#include "firstedge/io/template_file.hpp"

#include "firstedge/io/hdf5_array.hpp"
#include "firstedge/io/hdf5_numbers.hpp"
#include "firstedge/io/hdf5_output.hpp"
#include "firstedge/io/part_file.hpp"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <set>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr const char* layout_name = "firstedge templates 1";
constexpr std::size_t most_templates = 4096;
constexpr std::uint64_t most_points = std::uint64_t{1} << 24U;
constexpr std::uint64_t points_in_chunk = 4096;

bool all_finite(const std::vector<double>& values) {
  return std::all_of(values.begin(), values.end(), [](double value) { return std::isfinite(value); });
}

// What is wrong with a template, "" if nothing.
std::string fault_of(const PulseTemplate& one) {
  if (!(one.interval_s > 0) || !std::isfinite(one.interval_s)) return "has no positive interval";
  if (!std::isfinite(one.first_s)) return "starts at no finite time";
  if (!(one.reference_fraction > 0 && one.reference_fraction < 1))
    return "has a reference fraction outside (0, 1)";
  if (one.shape.empty()) return "has an empty shape";
  if (one.shape.size() > most_points) return "has a shape of more than 2^24 points";
  if (!one.shape_uncertainty.empty() && one.shape_uncertainty.size() != one.shape.size())
    return "has an uncertainty of another size than its shape";
  if (!all_finite(one.shape) || !all_finite(one.shape_uncertainty)) return "holds values that are not finite";
  return "";
}

void refuse_faults(const std::string& file, const std::vector<PulseTemplate>& templates) {
  std::set<std::string> seen;
  for (const PulseTemplate& one : templates) {
    const std::string fault = seen.insert(one.channel).second ? fault_of(one) : "stands twice";
    if (!fault.empty()) {
      throw Error(file, fmt::format("the template of channel '{}' {}", one.channel, fault),
                  "build the template again");
    }
  }
}

void write_points(const H5::Group& group, const std::string& name, const std::vector<double>& points) {
  Hdf5Rows rows(group, name, {.element = H5::PredType::NATIVE_DOUBLE, .rows_in_chunk = points_in_chunk});
  rows.append(std::as_bytes(std::span(points)));
  rows.flush();
}

void write_template(const H5::H5File& root, const std::string& name, const PulseTemplate& one) {
  H5::Group group = create_group(root, name);
  write_attribute(group, "channel", one.channel);
  write_attribute(group, "interval_s", one.interval_s);
  write_attribute(group, "first_s", one.first_s);
  write_attribute(group, "reference_fraction", one.reference_fraction);
  write_attribute(group, "pulses_used", std::uint64_t{one.pulses_used});
  write_points(group, "shape", one.shape);
  if (!one.shape_uncertainty.empty()) write_points(group, "shape_uncertainty", one.shape_uncertainty);
}

std::vector<double> read_points(const Hdf5File& file, const std::string& path) {
  Hdf5Array array(file, path);
  const std::optional<NumberType> type = guarded(array.place(), "cannot be opened", "the file is damaged",
                                                 [&] { return number_type(array.type()); });
  if (!type || type->kind != NumberType::Kind::real || type->bytes != sizeof(double) ||
      array.shape().size() != 1 || array.elements() > most_points) {
    throw Error(array.place(), "is not a list of at most 2^24 floating-point numbers of 64 bits",
                "give a file of templates as firstedge-stamp wrote it");
  }
  array.require_stored(array.elements());
  Hdf5Array::Content content = array.read({{0}, {array.elements()}});
  if (!content.damage.empty())
    throw Error(array.place(), content.damage.front().problem, "copy or make the file again");
  to_native_order(content.bytes, *type);
  return as_doubles(content.bytes, *type);
}

PulseTemplate read_template(const Hdf5File& file, const std::string& path) {
  const Hdf5Guard guard;
  const H5::Group group = file.group(path);
  const auto number = [&](const char* name) {
    const auto value = number_attribute(group, name, file.place(path));
    if (value) return *value;
    throw Error(file.place(path), fmt::format("the attribute '{}' is missing", name),
                "give a file of templates as firstedge-stamp wrote it");
  };
  PulseTemplate one;
  one.channel = text_attribute(group, "channel", file.place(path)).value_or("");
  one.interval_s = number("interval_s");
  one.first_s = number("first_s");
  one.reference_fraction = number("reference_fraction");
  const double pulses = number("pulses_used");
  if (!(pulses >= 0 && pulses < 0x1p53)) {
    throw Error(file.place(path), "the attribute 'pulses_used' is no count",
                "give a file of templates as firstedge-stamp wrote it");
  }
  one.pulses_used = static_cast<std::size_t>(pulses);
  one.shape = read_points(file, joined(path, "shape"));
  const std::string uncertainty = joined(path, "shape_uncertainty");
  if (file.has(uncertainty)) one.shape_uncertainty = read_points(file, uncertainty);
  return one;
}

}  // namespace

void write_templates(const std::filesystem::path& file, const std::vector<PulseTemplate>& templates) {
  refuse_faults(file.string(), templates);
  if (templates.size() > most_templates)
    throw Error(file.string(), "more than 4096 templates", "write several files");
  PartFile part(file);
  guarded(file.string(), "cannot be written", "check the disk's free space and permissions", [&] {
    H5::H5File root = create_hdf5(part.part());
    try {
      write_attribute(root, "layout", std::string(layout_name));
      for (std::size_t i = 0; i < templates.size(); ++i)
        write_template(root, std::to_string(i), templates[i]);
      root.flush(H5F_SCOPE_GLOBAL);
    } catch (const H5::Exception&) {
      abandon_hdf5(root);
      throw;
    }
  });
  part.commit();
}

std::vector<PulseTemplate> read_templates(const std::filesystem::path& path) {
  const Hdf5File file(path);
  const Hdf5Guard guard;
  if (text_attribute(file.group("/"), "layout", path.string()) != layout_name) {
    throw Error(path.string(), "is not a file of templates (its attribute 'layout' is another)",
                "give one that firstedge-stamp wrote");
  }
  std::vector<PulseTemplate> templates;
  for (std::string group = "/0"; file.has(group); group = joined("/", std::to_string(templates.size()))) {
    if (templates.size() == most_templates)
      throw Error(path.string(), "holds more than 4096 templates", "write several files");
    templates.push_back(read_template(file, group));
  }
  refuse_faults(path.string(), templates);
  return templates;
}

}  // namespace firstedge
