window.ui = SwaggerUIBundle({
  url: "/openapi.json",
  dom_id: "#docs",
  deepLinking: true,
  validatorUrl: null,
  supportedSubmitMethods: ["get", "head", "options", "post", "put", "delete"],
});
