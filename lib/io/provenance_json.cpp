#include "firstedge/io/provenance_json.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/flat_json.hpp"

namespace firstedge {

using Json = nlohmann::ordered_json;

namespace {

Error not_json(const std::string& place) {
  return {place, "the provenance is not the JSON text it should be",
          "use a table as firstedge-stamp wrote it"};
}

}  // namespace

std::string provenance_json(const Provenance& provenance) {
  Json inputs = Json::array();
  for (const Provenance::Input& input : provenance.inputs)
    inputs.push_back({{"name", input.name}, {"bytes", input.bytes}, {"sha256", input.sha256}});
  const Json json = {{"program", provenance.program}, {"version", provenance.version},
                     {"command", provenance.command}, {"inputs", inputs},
                     {"setup", provenance.setup},     {"options", provenance.options}};
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

Provenance provenance_from_json(std::string_view text, const std::string& place) {
  try {
    const Json json = flat_json(text, not_json(place));
    Provenance provenance{.program = json.at("program"),
                          .version = json.at("version"),
                          .command = json.at("command"),
                          .inputs = {},
                          .setup = json.at("setup"),
                          .options = json.at("options")};
    for (const Json& input : json.at("inputs"))
      provenance.inputs.push_back({input.at("name"), input.at("bytes"), input.at("sha256")});
    return provenance;
  } catch (const Json::exception&) {
    throw not_json(place);
  }
}

}  // namespace firstedge
