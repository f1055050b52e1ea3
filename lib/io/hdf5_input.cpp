#include "firstedge/io/hdf5_input.hpp"

#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/hdf5_numbers.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <set>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t signature_bytes = 8;
constexpr const char* unreachable =
    "cannot be reached: something on the way is damaged, is not a group, or leads out of the file";
constexpr std::size_t longest_path = 4096;
constexpr std::size_t deepest_group = 32;

// Called by HDF5 before it follows a link to another file: a negative answer stops it.
herr_t follow_no_external_link(const char*, const char*, const char*, const char*, unsigned*, hid_t, void*) {
  return -1;
}

H5::PropList inside_the_file() {
  H5::PropList access(H5P_LINK_ACCESS);
  checked(H5Pset_elink_cb(access.getId(), &follow_no_external_link, nullptr));
  return access;
}

// "/a/b/c" -> "/a", "/a/b", "/a/b/c".
std::vector<std::string> ways_to(const std::string& path) {
  std::vector<std::string> ways;
  for (std::size_t end = path.find('/', 1); end != std::string::npos; end = path.find('/', end + 1))
    ways.push_back(path.substr(0, end));
  if (path.size() > 1) ways.push_back(path);
  return ways;
}

// H5Literate's callback: collects the names of links that are no ways out of the file.
struct LinkNames {
  std::vector<std::string> names;
  std::size_t most = 0;
};

herr_t collect_name(hid_t, const char* name, const H5L_info_t*, void* into) {
  auto& links = *static_cast<LinkNames*>(into);
  if (links.names.size() >= links.most) return 1;
  links.names.emplace_back(name);
  return 0;
}

}  // namespace

bool has_hdf5_signature(std::span<const std::byte> bytes) {
  constexpr std::array<unsigned char, signature_bytes> signature{0x89, 'H', 'D', 'F', '\r', '\n', 0x1a, '\n'};
  return bytes.size() >= signature.size() &&
         std::memcmp(bytes.data(), signature.data(), signature.size()) == 0;
}

bool is_hdf5(const ByteSource& bytes) {
  for (std::uint64_t at = 0; at + signature_bytes <= bytes.size(); at = at == 0 ? 512 : at * 2) {
    if (has_hdf5_signature(bytes.read(at, signature_bytes))) return true;
  }
  return false;
}

std::string joined(const std::string& group, const std::string& name) {
  return group == "/" ? "/" + name : group + "/" + name;
}

Hdf5File::Hdf5File(std::filesystem::path file) : path_(std::move(file)) {
  const ByteSource bytes = ByteSource::from_file(path_);
  bytes_ = bytes.size();
  if (!is_hdf5(bytes)) throw Error(path_.string(), "is not an HDF5 file", "check which file this is");
  guarded(path_.string(), "is an HDF5 file that cannot be opened: cut short, damaged, or still being written",
          "copy it again, or close the program that writes it", [&] {
            H5::FileAccPropList access;
            // A reader needs no lock where the file system has none.
            checked(H5Pset_file_locking(access.getId(), true, true));
            file_.emplace(path_.string(), H5F_ACC_RDONLY, H5::FileCreatPropList::DEFAULT, access);
          });
}

Hdf5File::~Hdf5File() {
  const Hdf5Guard guard;
  file_.reset();
}

void Hdf5File::refuse_ways_out(const std::string& path) const {
  if (path.empty() || path.front() != '/' || path.size() > longest_path) {
    throw Error(place(path), "is not a path in an HDF5 file", "write it like /group/dataset");
  }
  guarded(place(path), unreachable, "check the path and the file", [&] {
    const H5::PropList access = inside_the_file();
    for (const std::string& way : ways_to(path)) {
      if (checked(H5Lexists(file_->getId(), way.c_str(), access.getId())) == 0) return;
      H5L_info_t link{};
      checked(H5Lget_info(file_->getId(), way.c_str(), &link, access.getId()));
      if (link.type != H5L_TYPE_HARD && link.type != H5L_TYPE_SOFT) {
        throw Error(place(way), "is a link to another file, which is never followed",
                    "copy what it points to into this file");
      }
    }
  });
}

bool Hdf5File::has(const std::string& path) const {
  refuse_ways_out(path);
  return guarded(place(path), unreachable, "check the path and the file", [&] {
    const H5::PropList access = inside_the_file();
    const std::vector<std::string> ways = ways_to(path);
    return std::all_of(ways.begin(), ways.end(), [&](const std::string& way) {
      return H5Lexists(file_->getId(), way.c_str(), access.getId()) > 0;
    });
  });
}

hid_t Hdf5File::open_object(const std::string& path) const {
  if (!has(path)) throw Error(place(path), "is not in the file", "check the path");
  return guarded(place(path), "cannot be opened: damaged, or a link that leads nowhere or in circles",
                 "check the file", [&] {
                   const H5::PropList access = inside_the_file();
                   return checked(H5Oopen(file_->getId(), path.c_str(), access.getId()));
                 });
}

bool Hdf5File::is_dataset(const std::string& path) const {
  const Hdf5Guard guard;
  const hid_t id = open_object(path);
  const bool is = H5Iget_type(id) == H5I_DATASET;
  H5Oclose(id);
  return is;
}

H5::DataSet Hdf5File::dataset(const std::string& path) const {
  const Hdf5Guard guard;
  const hid_t id = open_object(path);
  if (H5Iget_type(id) != H5I_DATASET) {
    H5Oclose(id);
    throw Error(place(path), "is not a dataset", "give the path of one");
  }
  return wrapped<H5::DataSet>(id);
}

H5::Group Hdf5File::group(const std::string& path) const {
  const Hdf5Guard guard;
  const hid_t id = open_object(path);
  if (H5Iget_type(id) != H5I_GROUP) {
    H5Oclose(id);
    throw Error(place(path), "is not a group", "give the path of one");
  }
  return wrapped<H5::Group>(id);
}

std::vector<std::string> Hdf5File::links(const std::string& group_path) const {
  const Hdf5Guard guard;
  const H5::Group where = group(group_path);
  LinkNames links{.names = {}, .most = most_links};
  const herr_t status = guarded(place(group_path), "cannot be listed", "the file is damaged", [&] {
    return checked(H5Literate(where.getId(), H5_INDEX_NAME, H5_ITER_NATIVE, nullptr, &collect_name, &links));
  });
  if (status > 0) {
    throw Error(place(group_path), fmt::format("holds more than {} entries", most_links),
                "split the file or name the datasets in the Setup");
  }
  std::sort(links.names.begin(), links.names.end());
  return links.names;
}

std::vector<std::string> Hdf5File::datasets(std::size_t most) const {
  const Hdf5Guard guard;
  std::vector<std::string> found;
  std::set<haddr_t> seen;  // hard links may go in circles
  std::vector<std::pair<std::string, std::size_t>> open{{"/", 0}};
  while (!open.empty() && found.size() < most && seen.size() < most_links) {
    const auto [path, depth] = open.back();
    open.pop_back();
    H5O_info_t object{};
    if (H5Oget_info_by_name1(file_->getId(), path.c_str(), &object, H5P_DEFAULT) < 0) continue;
    if (!seen.insert(object.addr).second) continue;
    if (object.type == H5O_TYPE_DATASET) found.push_back(path);
    if (object.type != H5O_TYPE_GROUP || depth == deepest_group) continue;
    const std::vector<std::string> names = links(path);
    for (auto name = names.rbegin(); name != names.rend(); ++name) {
      const std::string below = joined(path, *name);
      H5L_info_t link{};
      if (H5Lget_info(file_->getId(), below.c_str(), &link, H5P_DEFAULT) < 0) continue;
      if (link.type == H5L_TYPE_HARD) open.emplace_back(below, depth + 1);
    }
  }
  return found;
}

std::optional<double> number_attribute(const H5::H5Object& object, const std::string& name,
                                       const std::string& place) {
  const std::string what = fmt::format("the attribute '{}'", name);
  const double value = guarded(place, what + " cannot be read", "the file is damaged", [&] {
    if (!object.attrExists(name)) return std::nan("");
    const H5::Attribute attribute = object.openAttribute(name);
    if (!number_type(attribute.getDataType()) || attribute.getSpace().getSimpleExtentNpoints() != 1) {
      throw Error(place, what + " is not one number", "write it as one integer or floating-point number");
    }
    double number = 0;
    attribute.read(H5::PredType::NATIVE_DOUBLE, &number);
    if (std::isnan(number)) throw Error(place, what + " is NaN", "write a number");
    return number;
  });
  return std::isnan(value) ? std::nullopt : std::optional(value);
}

std::string unpadded(const char* bytes, std::size_t size, H5T_str_t padding) {
  std::size_t end = 0;
  while (end < size && bytes[end] != '\0') ++end;
  while (padding == H5T_STR_SPACEPAD && end > 0 && bytes[end - 1] == ' ') --end;
  return {bytes, end};
}

std::optional<std::vector<std::string>> texts_attribute(const H5::H5Object& object, const std::string& name,
                                                        const std::string& place, std::size_t most) {
  using Texts = std::vector<std::string>;
  const std::string what = fmt::format("the attribute '{}'", name);
  return guarded(place, what + " cannot be read", "the file is damaged", [&]() -> std::optional<Texts> {
    if (!object.attrExists(name)) return std::nullopt;
    const H5::Attribute attribute = object.openAttribute(name);
    if (attribute.getTypeClass() != H5T_STRING) throw Error(place, what + " is not text", "write it as text");
    const H5::StrType type = attribute.getStrType();
    if (type.isVariableStr()) {
      throw Error(place, what + " is text of variable length, which cannot be read safely",
                  "write it with a fixed length (in Python: numpy.bytes_(text))");
    }
    const hssize_t count = attribute.getSpace().getSimpleExtentNpoints();
    const std::size_t size = type.getSize();
    if (count < 0 || static_cast<std::uint64_t>(count) > most) {
      throw Error(place, fmt::format("{} holds {} texts", what, count), fmt::format("at most {}", most));
    }
    if (size == 0 || static_cast<std::size_t>(count) > most_text_bytes / size) {
      throw Error(place, what + " is larger than 16 MiB", "shorten it");
    }
    std::vector<char> bytes(size * static_cast<std::size_t>(count));
    if (!bytes.empty()) attribute.read(type, bytes.data());
    Texts texts;
    for (std::size_t at = 0; at < bytes.size(); at += size)
      texts.push_back(unpadded(bytes.data() + at, size, type.getStrpad()));
    return texts;
  });
}

std::optional<std::string> text_attribute(const H5::H5Object& object, const std::string& name,
                                          const std::string& place) {
  const auto texts = texts_attribute(object, name, place, 1);
  if (!texts) return std::nullopt;
  if (texts->empty()) throw Error(place, fmt::format("the attribute '{}' is empty", name), "write a text");
  return texts->front();
}

std::vector<std::string> attribute_names(const H5::H5Object& object, std::size_t most) {
  const Hdf5Guard guard;
  std::vector<std::string> names;
  try {
    const auto count = std::min<std::size_t>(static_cast<std::size_t>(object.getNumAttrs()), most);
    for (unsigned i = 0; i < count; ++i) names.push_back(object.openAttribute(i).getName());
  } catch (const H5::Exception&) {  // what is damaged is left out
  }
  return names;
}

}  // namespace firstedge
