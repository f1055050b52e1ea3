#include "firstedge/io/applied_delay_json.hpp"

#include "firstedge/io/flat_json.hpp"

#include <cmath>

namespace firstedge {
namespace {

using Json = nlohmann::ordered_json;

Json json_of(const DelayTerm& term) {
  const double freedom = term.input.degrees_of_freedom;
  return {{"name", term.name},
          {"unit", term.unit},
          {"value", term.input.value},
          {"uncertainty", term.input.uncertainty},
          {"degrees_of_freedom", std::isinf(freedom) ? Json() : Json(freedom)},
          {"sensitivity", term.sensitivity},
          {"distribution", std::string(to_text(term.distribution))},
          {"type", term.evaluation == Evaluation::type_a ? "A" : "B"},
          {"measured", term.measured}};
}

DelayTerm term_from(const Json& json, const Error& refusal) {
  DelayTerm term{.name = json.at("name"),
                 .unit = json.at("unit"),
                 .input = {json.at("value"), json.at("uncertainty")},
                 .sensitivity = json.at("sensitivity"),
                 .measured = json.at("measured")};
  if (const Json& freedom = json.at("degrees_of_freedom"); !freedom.is_null())
    term.input.degrees_of_freedom = freedom;
  const auto distribution = distribution_named(json.at("distribution").get<std::string>());
  const std::string type = json.at("type");
  if (type == "A") term.evaluation = Evaluation::type_a;
  const bool good = distribution && (type == "A" || type == "B") && std::isfinite(term.input.value) &&
                    std::isfinite(term.input.uncertainty) && term.input.uncertainty >= 0 &&
                    term.input.degrees_of_freedom > 0 && std::isfinite(term.sensitivity);
  if (!good) throw Error(refusal);
  term.distribution = *distribution;
  return term;
}

// Other numbers than whole ones from 0 on are not converted: the conversion has no meaning for them.
std::uint64_t record_from(const Json& json, const Error& refusal) {
  if (!json.is_number_unsigned()) throw Error(refusal);
  return json.get<std::uint64_t>();
}

AppliedDelay delay_from(const Json& json, const Error& refusal) {
  AppliedDelay delay{.channel = json.at("channel"),
                     .first_record = record_from(json.at("first_record"), refusal),
                     .last_record = record_from(json.at("last_record"), refusal),
                     .delay_s = json.at("delay_s"),
                     .doubtful = json.at("doubtful"),
                     .terms = {}};
  if (!std::isfinite(delay.delay_s) || delay.last_record < delay.first_record) throw Error(refusal);
  for (const Json& term : json.at("terms")) delay.terms.push_back(term_from(term, refusal));
  return delay;
}

}  // namespace

std::string applied_delays_json(const std::vector<AppliedDelay>& delays) {
  Json list = Json::array();
  for (const AppliedDelay& delay : delays) {
    Json terms = Json::array();
    for (const DelayTerm& term : delay.terms) terms.push_back(json_of(term));
    list.push_back({{"channel", delay.channel},
                    {"first_record", delay.first_record},
                    {"last_record", delay.last_record},
                    {"delay_s", delay.delay_s},
                    {"doubtful", delay.doubtful},
                    {"terms", terms}});
  }
  return list.dump(-1, ' ', false, Json::error_handler_t::replace);
}

std::vector<AppliedDelay> applied_delays_from_json(std::string_view json, const std::string& place) {
  const Error refusal(place, "the applied delays are not the JSON list they should be",
                      "use a table as firstedge-chain wrote it");
  try {
    std::vector<AppliedDelay> delays;
    const Json list = flat_json(json, refusal);
    if (!list.is_array()) throw Error(refusal);
    for (const Json& one : list) delays.push_back(delay_from(one, refusal));
    return delays;
  } catch (const Json::exception&) {
    throw Error(refusal);
  }
}

}  // namespace firstedge
