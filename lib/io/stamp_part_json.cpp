#include "firstedge/io/stamp_part_json.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/flat_json.hpp"

namespace firstedge {

using Json = nlohmann::ordered_json;

std::string stamp_part_json(const StampTablePart& part) {
  const Json json = {{"part", part.number}, {"of", part.of}, {"learnt_sha256", part.learnt_sha256}};
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

StampTablePart stamp_part_from_json(std::string_view text, const std::string& place) {
  const Error refusal(place, "does not say properly which part of a run it is",
                      "use a table as firstedge-stamp wrote it");
  try {
    const Json json = flat_json(text, refusal);
    StampTablePart part{
        .number = json.at("part"), .of = json.at("of"), .learnt_sha256 = json.at("learnt_sha256")};
    if (part.number < 1 || part.number > part.of) throw Error(refusal);
    return part;
  } catch (const Json::exception&) {
    throw Error(refusal);
  }
}

}  // namespace firstedge
